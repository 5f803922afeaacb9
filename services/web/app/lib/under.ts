// What is suppressed by design under an alarm that calls for the cause of all.
import { condition, count } from "./words";
import type { Alarm } from "./wire";

// under gives those alarms that are suppressed under another.
export function under(all: readonly Alarm[], a: Alarm): Alarm[] {
  return all.filter((other) => other.under === a.id && other.state === "suppressed-by-design");
}

// suppressed names them, by line.
export function suppressed(below: readonly Alarm[]): string {
  const lines = below.map((a) => a.line ?? "").sort((x, y) => x.localeCompare(y, undefined, { numeric: true }));
  const names = [...new Set(below.map((a) => condition(a.condition)))];
  return count("alarm.under", below.length, { lines: [...names, ...lines].join(", ") });
}
