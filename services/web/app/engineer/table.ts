// Courses side by side at common times, as a chart wants them.
import type { Course } from "./data";

export interface Table {
  time: number[]; // Unix ms
  columns: Column[];
}

export interface Column { mean: Values; min: Values; max: Values }
type Values = (number | null)[];

// table puts courses at the times that any of them has. A missing step is an empty
// row, so that nothing is drawn across it.
export function table(all: readonly Course[]): Table {
  const times = new Set<number>();
  const step = Math.max(0, ...all.map((c) => c.step_ms ?? 0));
  for (const c of all) {
    c.time_ms.forEach((t, i) => {
      times.add(t);
      const last = c.time_ms[i - 1];
      if (step > 0 && last !== undefined && t - last > 1.5 * step) times.add(last + step);
    });
  }
  const time = [...times].sort((a, b) => a - b);
  const place = new Map(time.map((t, i) => [t, i]));
  const empty = (): Values => new Array<number | null>(time.length).fill(null);
  const columns = all.map((c) => {
    const col: Column = { mean: empty(), min: empty(), max: empty() };
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

// scaled gives a column with every value times a factor.
export function scaled(c: Column, by: number): Column {
  const times = (v: Values): Values => v.map((x) => (x === null ? null : x * by));
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
