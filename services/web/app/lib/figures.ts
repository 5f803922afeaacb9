// Figures that follow from the picture: shares, trends, balance, what is old.
import type { Alarm, Berth, LineFrame, Load, Now, Priority } from "./wire";
import type { Key } from "./words";

export const silent: Load = { sensor: "silent" };

export function loadOf(b: Berth, line: LineFrame): Load { return b.loads.get(line.id) ?? silent; }

// share is a load as a share of the line's working load limit.
export function share(line: LineFrame, l: Load): number | undefined {
  return l.kN === undefined || line.limit <= 0 ? undefined : l.kN / line.limit;
}

// isOld tells that a line's figures are not live.
export function isOld(b: Berth, l: Load): boolean { return !b.now.live || l.sensor === "silent" || l.sensor === "bad"; }

// behindLeast is how old readings are, as they come in, from which that is told, ms.
// Clocks on board are seldom further off.
const behindLeast = 60_000;

// behind is how old by their own time the newest readings were as they came in, ms; not
// there where they were fresh. A gateway that sends what it kept while its link was
// down is one, and a recording.
export function behind(b: Berth): number | undefined {
  const { at, newest } = b.now;
  if (at === undefined || newest === undefined || at - newest <= behindLeast) return undefined;
  return at - newest;
}

// moving reports whether lines are put out or let go, by what the detectors take.
export function moving(n: Now): boolean { return n.lies === undefined ? n.watch === false : n.lies !== "fast"; }

// watchOf says whether the mooring is under watch.
export function watchOf(n: Now): Key {
  if (n.lies === "moved") return "mooring.watch.moved";
  if (n.watch === false) return moving(n) ? "mooring.watch.no" : "mooring.watch.forgotten";
  return n.watch === undefined ? "mooring.watch.unknown" : "mooring.watch.yes";
}

// aheadMost is how far ahead a trend is drawn out, minutes.
const aheadMost = 120;

// toLimit is how long until a line is at its limit if it goes on as it does, in
// minutes; not there where it does not rise, or where that is far off.
export function toLimit(line: LineFrame, l: Load): number | undefined {
  if (l.kN === undefined || l.rate === undefined || l.rate <= 0 || l.kN >= line.limit) return undefined;
  const minutes = (line.limit - l.kN) / l.rate;
  return minutes <= aheadMost ? minutes : undefined;
}

export interface Pick { line: LineFrame; load: Load; value: number }

// faulty are the lines of a berth whose load pins are at fault by an alarm that stands,
// whoever keeps it quiet: a number may come in all the same, and is none of the line's.
export function faulty(alarms: readonly Alarm[], berth: string): ReadonlySet<string> {
  return new Set(alarms.flatMap((a) => (a.condition === "sensor-fault" && a.berth === berth && a.cleared === undefined && a.line !== undefined ? [a.line] : [])));
}

// greatest gives the line with the greatest of a figure among those that are live and
// whose load pins are not at fault.
export function greatest(b: Berth, atFault: ReadonlySet<string>, figure: (line: LineFrame, l: Load) => number | undefined): Pick | undefined {
  let best: Pick | undefined;
  for (const line of b.frame.lines) {
    const load = loadOf(b, line);
    if (isOld(b, load) || atFault.has(line.id)) continue;
    const value = figure(line, load);
    if (value !== undefined && (best === undefined || value > best.value)) best = { line, load, value };
  }
  return best;
}

export interface Group { name: string; lines: LineFrame[]; uneven?: number }

// groups gives the lines by group, in the plan's order. uneven is the greatest
// share of MBL in it over the mean of the others, some lines left out: those that have
// parted, or whose load pins are at fault.
export function groups(b: Berth, leftOut: ReadonlySet<string> = new Set()): Group[] {
  const all: Group[] = [];
  for (const line of b.frame.lines) {
    const last = all.at(-1);
    if (last?.name === line.group) last.lines.push(line);
    else all.push({ name: line.group, lines: [line] });
  }
  for (const g of all) {
    const shares = g.lines.filter((line) => !leftOut.has(line.id)).map((line) => ({ line, l: loadOf(b, line) })).filter(({ l }) => !isOld(b, l) && l.kN !== undefined)
      .map(({ line, l }) => (l.kN ?? 0) / line.mbl);
    if (shares.length < 2) continue;
    const most = Math.max(...shares);
    const rest = (shares.reduce((a, s) => a + s, 0) - most) / (shares.length - 1);
    if (rest > 0 && most >= b.frame.floor) g.uneven = most / rest;
  }
  return all;
}

export const priorities: readonly Priority[] = ["emergency", "alarm", "warning", "caution"];

export const isActive = (a: Alarm): boolean => a.state === "active-unacknowledged" || a.state === "active-acknowledged";

// marks tells that an alarm is shown at its line: it is active, or another one calls
// for it.
export const marks = (a: Alarm): boolean => isActive(a) || a.state === "suppressed-by-design";

// calls tells that an alarm waits for somebody.
export const calls = (a: Alarm): boolean => a.state === "active-unacknowledged" || a.state === "returned-unacknowledged";

// concerns tells that an alarm is of a line, or of one in its group that no load pin
// would show and which this may be.
export function concerns(a: Alarm, line: LineFrame): boolean {
  return a.line === line.id || (a.line === undefined && a.condition === "redistribution" && a.group === line.group && !line.pin);
}

// toldLate tells that an alarm came to be known here long after its readings, as where
// a link was down.
export const toldLate = (a: Alarm): boolean => a.recorded - a.raised > behindLeast;

// worst gives the worst of alarms that come worst first.
export function worst(alarms: readonly Alarm[]): Alarm | undefined { return alarms.find(isActive); }

// pins counts load pins that are good, of those there are.
export function pins(b: Berth, atFault: ReadonlySet<string>): { good: number; all: number } {
  let good = 0;
  let all = 0;
  for (const line of b.frame.lines) {
    if (!line.pin) continue;
    all++;
    if (loadOf(b, line).sensor === "good" && b.now.live && !atFault.has(line.id)) good++;
  }
  return { good, all };
}
