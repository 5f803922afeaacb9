// The wind: an arrow that blows, over a mark of where north is.
import { svg } from "../lib/dom";
import { wind as blown } from "../lib/units";
import { say } from "../lib/words";
import type { Layout } from "./layout";
import type { Scene } from "./scene";

// wind is what is drawn of it; of a plan, north alone.
export function wind(s: Scene, lay: Layout, em: number): SVGElement[] {
  const c = { x: 3.2 * em, y: 3 * em };
  const r = 2 * em;
  const n = lay.bearing(0);
  const all: SVGElement[] = [
    svg("circle", { class: "rose", cx: c.x, cy: c.y, r }),
    svg("line", { class: "north", x1: c.x + n.x * r, y1: c.y + n.y * r, x2: c.x + n.x * (r - 0.5 * em), y2: c.y + n.y * (r - 0.5 * em) }),
    svg("text", { class: "small", x: c.x + n.x * (r + 0.55 * em), y: c.y + n.y * (r + 0.55 * em) + 0.28 * em, "text-anchor": "middle" }, say("drawing.north")),
  ];
  if (s.kind === "planned") return all;
  all.push(
    svg("text", { class: "small quiet", x: c.x + r + 1.3 * em, y: c.y - 0.3 * em }, say("mooring.wind")),
    svg("text", { class: "wind-words", x: c.x + r + 1.3 * em, y: c.y + 0.9 * em }, words(s)),
  );
  if (s.from === undefined || !s.wind) return all;
  const f = lay.bearing(s.from);
  const at = (ahead: number, side: number): string => `${(c.x - ahead * f.x - side * f.y).toFixed(1)} ${(c.y - ahead * f.y + side * f.x).toFixed(1)}`;
  all.push(svg("path", { class: "arrow", d: `M${at(-1.6 * em, 0)}L${at(0.3 * em, 0)}M${at(1.6 * em, 0)}L${at(0.2 * em, 0.7 * em)}L${at(0.2 * em, -0.7 * em)}Z` }));
  return all;
}

function words(s: Scene): string {
  return s.wind === undefined ? say("drawing.wind-none") : blown(s.wind, s.from);
}
