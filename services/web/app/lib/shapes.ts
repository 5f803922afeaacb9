// A shape for each priority: none needs its colour. Hollow is acknowledged.
import { svg } from "./dom";
import type { Priority } from "./wire";

// Paths on a field of 16 by 16, from the worst down: octagon, triangle, disc, square.
export const outline: Record<Priority, string> = {
  emergency: "M5 1h6l4 4v6l-4 4H5l-4-4V5z",
  alarm: "M8 1l7.5 14H.5z",
  warning: "M8 1a7 7 0 1 0 0 14A7 7 0 1 0 8 1z",
  caution: "M2 2h12v12H2z",
};

// shape draws one; the word for it stands beside it.
export function shape(priority: Priority, hollow = false): SVGSVGElement {
  return svg("svg", { class: hollow ? "shape hollow" : "shape", viewBox: "0 0 16 16", "aria-hidden": "true" }, svg("path", { d: outline[priority] }));
}
