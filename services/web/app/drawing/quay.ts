// The berth: its face, its fenders, and a length to measure by.
import { svg } from "../lib/dom";
import { number, say } from "../lib/words";
import type { Layout } from "./layout";
import type { Geometry } from "./plan";

// quay is what is drawn of the berth.
export function quay(g: Geometry, lay: Layout, em: number): SVGElement[] {
  const zero = lay.at(0, 0);
  const face = lay.tall ? { x1: zero.x, y1: lay.band, x2: zero.x, y2: lay.h } : { x1: 0, y1: zero.y, x2: lay.w, y2: zero.y };
  const deep = Math.max(0.5 * em, 1.2 * lay.scale);
  const half = 0.35 * em;
  const fenders = g.fenders.map((f) => {
    // On the shore side of the face that it stands out to.
    const p = lay.at(f.x_m, 0);
    const q = lay.at(f.x_m, -deep / lay.scale);
    return svg("rect", { class: "fender", x: Math.min(p.x, q.x) - (lay.tall ? 0 : half), y: Math.min(p.y, q.y) - (lay.tall ? half : 0),
      width: lay.tall ? deep : 2 * half, height: lay.tall ? 2 * half : deep });
  });
  return [svg("line", { class: "face", ...face }), ...fenders, ...scale(lay, em)];
}

const lengths = [1, 2, 5, 10, 20, 50, 100, 200]; // m

// scale is the longest of some round lengths that has room.
function scale(lay: Layout, em: number): SVGElement[] {
  const long = lengths.findLast((n) => n * lay.scale <= 9 * em) ?? 1;
  const x2 = lay.w - 1.25 * em;
  const x1 = x2 - long * lay.scale;
  const y = 2.2 * em;
  return [
    svg("path", { class: "scale", d: `M${x1} ${y - 0.3 * em}V${y}H${x2}V${y - 0.3 * em}` }),
    svg("text", { class: "small", x: x2, y: y - 0.7 * em, "text-anchor": "end" }, say("mooring.metre", { n: number(long) })),
  ];
}
