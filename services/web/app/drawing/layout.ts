// Where everything of a mooring goes on the sheet. No element is made here.
//
// The sheet has a way along the quay and a way out from it. On a wide sheet the quay
// is at the bottom, as somebody on it sees the ship; on a tall one her bow is up.
// Each line's label stands on a rail behind the hooks, in the order of the hooks, so
// that labels never meet and their leaders never cross.
import type { Geometry, LineGeometry } from "./plan";
import { spread } from "./spread";

export interface XY { x: number; y: number }

export interface Label { x: number; y: number; w: number; h: number; from: XY; to: XY }

export interface Layout {
  tall: boolean;
  w: number;
  h: number;
  scale: number; // px a metre
  band: number; // height of the band above the drawing, for the wind
  at: (x: number, y: number) => XY; // plan to sheet
  bearing: (deg: number) => XY; // the way on the sheet that a true bearing points
  labels: Map<string, Label>;
}

export interface Sizes {
  w: number; // of the sheet, px
  em: number; // of its text, px
  label: { w: number; h: number }; // a label on a wide sheet
  row: { w: number; h: number }; // and on a tall one
}

interface Extent { a0: number; a1: number; o0: number; o1: number }

// extent is what the plan covers, metres: along the berth and out from it.
function extent(g: Geometry): Extent {
  const half = g.ship.loa_m / 2;
  const e = { a0: g.centre[0] - half, a1: g.centre[0] + half, o0: 0, o1: g.ship.beam_m };
  for (const l of g.lines) {
    for (const p of [l.fairlead, l.hook]) {
      e.a0 = Math.min(e.a0, p[0]);
      e.a1 = Math.max(e.a1, p[0]);
      e.o0 = Math.min(e.o0, p[1]);
      e.o1 = Math.max(e.o1, p[1]);
    }
  }
  return e;
}

// lay lays a plan out. It is tall where labels beside each other find no room.
export function lay(g: Geometry, s: Sizes): Layout {
  const pitch = s.label.w / 2 + 0.4 * s.em; // from a label to the next, in two rows
  const tall = s.w < 36 * s.em || g.lines.length * pitch > s.w - 2 * s.em;
  return tall ? layTall(g, s) : layWide(g, s);
}

function layWide(g: Geometry, s: Sizes): Layout {
  const e = extent(g);
  const em = s.em;
  const side = 1.25 * em;
  const band = 5.5 * em;
  // +y is up the sheet, so +x points right with the starboard side to the quay.
  const dir = g.side === "port" ? -1 : 1;
  const scale = Math.min((s.w - 2 * side - 2 * em) / (e.a1 - e.a0), (0.5 * s.w) / (e.o1 - e.o0));
  const mid = (s.w - dir * scale * (e.a0 + e.a1)) / 2;
  const quay = band + scale * e.o1;
  const at = (x: number, y: number): XY => ({ x: mid + dir * scale * x, y: quay - scale * y });
  const rail = quay - scale * e.o0 + 1.75 * em;

  const oneRow = g.lines.length * (s.label.w + 0.4 * em) <= s.w - 2 * side;
  const order = along(g.lines, (l) => at(l.hook[0], l.hook[1]).x, (l) => at(l.fairlead[0], l.fairlead[1]).x);
  const gap = oneRow ? s.label.w + 0.4 * em : s.label.w / 2 + 0.4 * em;
  const wanted = order.map((l) => at(l.hook[0], l.hook[1]).x);
  const places = spread(wanted, wanted.map(() => gap), side + s.label.w / 2, s.w - side - s.label.w / 2);
  const labels = new Map<string, Label>();
  order.forEach((l, k) => {
    const x = places[k] ?? 0;
    const y = rail + (oneRow || k % 2 === 0 ? 0 : s.label.h + 0.6 * em);
    labels.set(l.id, { x: x - s.label.w / 2, y, w: s.label.w, h: s.label.h, from: at(l.hook[0], l.hook[1]), to: { x, y } });
  });
  const h = rail + (oneRow ? 1 : 2) * (s.label.h + 0.6 * em) + 0.25 * em;
  return { tall: false, w: s.w, h, scale, band, at, bearing: bearings(g, dir > 0 ? 90 : 270), labels };
}

function layTall(g: Geometry, s: Sizes): Layout {
  const e = extent(g);
  const em = s.em;
  const band = 5.5 * em;
  const side = 0.75 * em;
  // +x is up the sheet; the quay is on the right with the starboard side to it.
  const dir = g.side === "port" ? 1 : -1;
  const room = s.w - s.row.w - 2 * side - 1.75 * em;
  const rows = g.lines.length * (s.row.h + 0.2 * em);
  const scale = Math.min(room / (e.o1 - e.o0), Math.max(2.1 * s.w, rows) / (e.a1 - e.a0));
  const spare = room - scale * (e.o1 - e.o0);
  const quay = dir > 0 ? s.w - side - spare / 2 - scale * e.o1 : side + spare / 2 + scale * e.o1;
  const top = band + em + scale * e.a1;
  const h = Math.max(top - scale * e.a0, band + em + rows) + em;
  const at = (x: number, y: number): XY => ({ x: quay + dir * scale * y, y: top - scale * x });

  const order = along(g.lines, (l) => at(l.hook[0], l.hook[1]).y, (l) => at(l.fairlead[0], l.fairlead[1]).y);
  const gap = s.row.h + 0.2 * em;
  const wanted = order.map((l) => at(l.hook[0], l.hook[1]).y);
  const places = spread(wanted, wanted.map(() => gap), band + s.row.h / 2, h - 0.5 * em - s.row.h / 2);
  const labels = new Map<string, Label>();
  order.forEach((l, k) => {
    const y = places[k] ?? 0;
    const x = dir > 0 ? side : s.w - side - s.row.w;
    labels.set(l.id, { x, y: y - s.row.h / 2, w: s.row.w, h: s.row.h, from: at(l.hook[0], l.hook[1]), to: { x: dir > 0 ? x + s.row.w : x, y } });
  });
  return { tall: true, w: s.w, h, scale, band, at, bearing: bearings(g, 0), labels };
}

// along puts lines in the order of their hooks on the sheet; those at one hook in
// that of their fairleads.
function along(lines: readonly LineGeometry[], hook: (l: LineGeometry) => number, fairlead: (l: LineGeometry) => number): LineGeometry[] {
  return [...lines].sort((a, b) => hook(a) - hook(b) || fairlead(a) - fairlead(b));
}

// bearings gives the way of a true bearing where +x, which bears the berth's
// heading, points `up` degrees clockwise from up the sheet: seen from above, bearings
// turn clockwise.
function bearings(g: Geometry, up: number): (deg: number) => XY {
  return (deg) => {
    const a = ((deg - g.berth_heading_deg + up) * Math.PI) / 180;
    return { x: Math.sin(a), y: -Math.cos(a) };
  };
}
