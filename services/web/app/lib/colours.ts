// The colours of the style sheet, for canvases.
import { onPaper } from "./paper";
import { onSettings } from "./settings";

export type Colour =
  | "ground" | "sheet" | "raised" | "ink" | "quiet" | "rule" | "edge" | "load" | "band" | "axis"
  | "emergency" | "alarm" | "warning" | "caution" | "fine" | "focus";

const known = new Map<string, string>();
const changed = new Set<() => void>();

// colour gives one as it is in the present theme.
export function colour(name: Colour): string {
  let c = known.get(name);
  if (c === undefined) {
    const probe = document.createElement("span");
    probe.style.color = `var(--${name})`;
    document.body.append(probe);
    c = getComputedStyle(probe).color;
    probe.remove();
    known.set(name, c);
  }
  return c;
}

// onColours calls fn when the theme has changed, or paper is next.
export function onColours(fn: () => void): void { changed.add(fn); }

function forget(): void {
  known.clear();
  changed.forEach((fn) => fn());
}

onSettings(forget);
onPaper(forget);
for (const query of ["(prefers-color-scheme: dark)", "(forced-colors: active)"]) matchMedia(query).addEventListener("change", forget);
