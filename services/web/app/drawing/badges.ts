// Numbers on the lines that somebody has to look at, where they do not meet.
import { attribute } from "../lib/dom";
import { along } from "./rope";
import type { XY } from "./layout";

interface Badged { fairlead: XY; hook: XY; badge: SVGGElement; badgeText: SVGTextElement; badgeBox: SVGRectElement }
interface Box { x0: number; y0: number; x1: number; y1: number }

// parts are the places along a line that are tried, its middle first.
const parts = [0.5, 0.38, 0.62, 0.26, 0.74, 0.16, 0.84];

// badges puts each line's number on it. One that has no place without meeting
// another is left out: its label has it.
export function badges(lines: readonly Badged[], em: number): void {
  const taken: Box[] = [];
  for (const d of lines) {
    const w = d.badgeText.getComputedTextLength() + 0.7 * em;
    const h = 1.35 * em;
    const free = parts.map((part) => along(d.fairlead, d.hook, part)).find((p) => {
      const box = { x0: p.x - w / 2, y0: p.y - h / 2, x1: p.x + w / 2, y1: p.y + h / 2 };
      if (taken.some((o) => box.x0 < o.x1 && o.x0 < box.x1 && box.y0 < o.y1 && o.y0 < box.y1)) return false;
      taken.push(box);
      return true;
    });
    d.badge.toggleAttribute("hidden", !free);
    if (!free) continue;
    attribute(d.badgeBox, "x", (free.x - w / 2).toFixed(1));
    attribute(d.badgeBox, "y", (free.y - h / 2).toFixed(1));
    attribute(d.badgeBox, "width", w.toFixed(1));
    attribute(d.badgeText, "x", free.x.toFixed(1));
    attribute(d.badgeText, "y", (free.y + 0.33 * em).toFixed(1));
  }
}
