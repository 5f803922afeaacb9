// The course of a line on the sheet, by its form.
import type { XY } from "./layout";
import type { Form } from "./scene";

const f = (n: number): string => n.toFixed(1);
const m = (p: XY): string => `M${f(p.x)} ${f(p.y)}`;
const l = (p: XY): string => `L${f(p.x)} ${f(p.y)}`;

// along is the point a part of the way from one to another, and off that way to its
// left by so many px.
export function along(from: XY, to: XY, part: number, off = 0): XY {
  const dx = to.x - from.x;
  const dy = to.y - from.y;
  const long = Math.hypot(dx, dy) || 1;
  return { x: from.x + part * dx + (off * dy) / long, y: from.y + part * dy - (off * dx) / long };
}

// rope is the path of a line from fairlead to hook: two frayed ends where it has
// parted, winding where it is slack, straight where it holds.
export function rope(fairlead: XY, hook: XY, form: Form, em: number): string {
  const long = Math.hypot(hook.x - fairlead.x, hook.y - fairlead.y);
  if (form === "parted") {
    return frayed(fairlead, hook, 0.3, long, em) + frayed(hook, fairlead, 0.24, long, em);
  }
  if (form === "slack") {
    const off = Math.min(0.13 * long, 0.9 * em);
    const c1 = along(fairlead, hook, 0.25, 2 * off);
    const c2 = along(fairlead, hook, 0.75, -2 * off);
    const mid = along(fairlead, hook, 0.5);
    return `${m(fairlead)}Q${f(c1.x)} ${f(c1.y)} ${f(mid.x)} ${f(mid.y)}Q${f(c2.x)} ${f(c2.y)} ${f(hook.x)} ${f(hook.y)}`;
  }
  return m(fairlead) + l(hook);
}

function frayed(from: XY, to: XY, part: number, long: number, em: number): string {
  const end = along(from, to, part);
  const more = part + (0.6 * em) / (long || 1);
  return m(from) + l(end) + l(along(from, to, more, 0.4 * em)) + m(end) + l(along(from, to, more + 0.01)) + m(end) + l(along(from, to, more, -0.4 * em));
}

// width is how thick a line is for its share of its working load limit, in em.
export function width(share: number | undefined): number {
  return share === undefined ? 0.12 : 0.1 + 0.46 * Math.min(Math.max(share, 0), 1.3);
}

// hull is a ship's outline, bow to +x, about her middle, metres: a plain shape with
// a full bow and a rounded transom.
export function hull(loa: number, beam: number): [number, number][] {
  const end = loa / 2;
  const b = beam / 2;
  const bow = Math.min(1.7 * beam, 0.5 * loa);
  const corner = 0.45 * b;
  const half = quarter(-end, b, corner);
  const steps = 24;
  for (let k = 0; k <= steps; k++) {
    // Steps crowd toward the stem, where the outline turns.
    const t = (Math.PI / 2) * (1 - (1 - k / steps) ** 1.6);
    half.push([end - bow + bow * Math.sin(t), b * Math.cos(t) ** 0.8]);
  }
  return [...half, ...half.slice(0, -1).reverse().map(([x, y]): [number, number] => [x, -y])];
}

// quarter is a rounded corner of the transom, from it to the side.
function quarter(stern: number, b: number, corner: number): [number, number][] {
  return Array.from({ length: 9 }, (_, k): [number, number] => {
    const t = (k / 8) * (Math.PI / 2);
    return [stern + corner * (1 - Math.cos(t)), b - 0.55 * corner * (1 - Math.sin(t))];
  });
}
