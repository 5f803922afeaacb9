// Courses side by side at common times, as a chart wants them.
import type { Course } from "./data";

export interface Table {
  time: number[]; // Unix ms
  columns: Column[];
}

export interface Column { mean: Values; min: Values; max: Values }

// Values are null where nothing was measured for so long that nothing is to be drawn
// across it, and undefined at times that only another column has.
export type Values = (number | null | undefined)[];

// table puts courses at the times that any of them has.
export function table(all: readonly Course[]): Table {
  const times = new Set<number>();
  const gaps = all.map(gapsOf);
  all.forEach((c, n) => {
    c.time_ms.forEach((t) => times.add(t));
    gaps[n]?.forEach((g) => times.add((g.from + g.to) / 2)); // there may be no other time in it
  });
  const time = [...times].sort((a, b) => a - b);
  const place = new Map(time.map((t, i) => [t, i]));
  const empty = (): Values => new Array<undefined>(time.length).fill(undefined);
  const columns = all.map((c, n) => {
    const col: Column = { mean: empty(), min: empty(), max: empty() };
    for (const g of gaps[n] ?? []) {
      for (const v of [col.mean, col.min, col.max]) v.fill(null, (place.get(g.from) ?? 0) + 1, place.get(g.to));
    }
    c.time_ms.forEach((t, i) => {
      const at = place.get(t) ?? 0;
      const v = c.value[i] ?? null;
      col.mean[at] = v;
      col.min[at] = c.min?.[i] ?? v;
      col.max[at] = c.max?.[i] ?? v;
    });
    return col;
  });
  return { time, columns };
}

const shortestGap = 10_000; // ms; after that a load pin is told to be silent

// gapsOf is the gaps of a course, each between two times that it has. Where most
// readings are further apart than a step, as those of drafts, that is no gap.
function gapsOf(c: Course): { from: number; to: number }[] {
  const step = c.step_ms ?? 0;
  const apart = c.time_ms.slice(1).map((t, i) => t - (c.time_ms[i] ?? t)).sort((a, b) => a - b);
  const usual = apart[Math.floor(0.75 * apart.length)] ?? 0;
  const most = usual > 1.5 * step ? Math.max(2.5 * usual, shortestGap) : 1.5 * step;
  return c.time_ms.flatMap((to, i) => {
    const from = c.time_ms[i - 1];
    return from !== undefined && to - from > most ? [{ from, to }] : [];
  });
}

// scaled gives a column with every value times a factor, its place's own; without one
// there is no value.
export function scaled(c: Column, by: (place: number) => number | undefined): Column {
  const times = (v: Values): Values => v.map((x, i) => (x === null || x === undefined ? x : by(i) === undefined ? null : x * by(i)!));
  return { mean: times(c.mean), min: times(c.min), max: times(c.max) };
}

// csv writes a table: time in UTC, then mean, least and greatest of each course.
export function csv(t: Table, names: readonly string[]): string {
  const rows = [["time", ...names.flatMap((n) => [`${n}_mean`, `${n}_min`, `${n}_max`])].join(",")];
  t.time.forEach((at, i) => {
    const cells = t.columns.flatMap((c) => [c.mean[i], c.min[i], c.max[i]].map((v) => (v === null || v === undefined ? "" : String(v))));
    if (cells.some((v) => v !== "")) rows.push([new Date(at).toISOString(), ...cells].join(","));
  });
  return rows.join("\n") + "\n";
}
