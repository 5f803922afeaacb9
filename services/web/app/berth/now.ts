// The scene of a berth as it is told live.
import type { Geometry, LineGeometry } from "../drawing/plan";
import type { Form, LineScene, Scene } from "../drawing/scene";
import type { Alarm, Berth, Load } from "../lib/wire";

const redistribution = "redistribution";

// conditionForms are how a line is drawn while a condition of it stands; where
// several do, the first goes before the others.
const conditionForms: readonly [string, Form][] = [
  ["line-parted", "parted"], [redistribution, "doubt"], ["over-limit", "over"], ["brake-slip", "slips"], ["approaching-limit", "near"],
  ["sensor-fault", "fault"], ["slack-line", "slack"],
];

// stood tells whether an alarm stood at a time of its source's clock.
export function stood(a: Alarm, at: number): boolean { return a.raised <= at && (a.cleared === undefined || a.cleared > at); }

// formOf is how a line is drawn, by its alarms first and its load second.
export function formOf(l: LineGeometry, conditions: ReadonlySet<string>, kN: number | undefined, sensor: Load["sensor"] | undefined): Form {
  for (const [condition, form] of conditionForms) if (conditions.has(condition)) return form;
  if (!l.instrumented) return "no-pin";
  if (sensor === "silent" || kN === undefined) return "silent";
  if (sensor === "bad") return "fault";
  if (kN >= l.working_load_kN) return "over";
  if (kN >= l.approach_kN) return "near";
  return kN < l.slack_kN ? "slack" : "steady";
}

// doubted are the lines that an alarm is about which knows of a group only: those
// without a load pin, or else with a pin at fault, one of which may have parted.
export function doubted(g: Geometry, a: Alarm, standing: readonly Alarm[]): string[] {
  if (a.condition !== redistribution) return [];
  const group = g.lines.filter((l) => l.group === a.group);
  const blind = group.filter((l) => !l.instrumented);
  const faulty = (id: string): boolean => standing.some((f) => f.berth === a.berth && f.line === id && f.condition === "sensor-fault" && f.cleared === undefined);
  return (blind.length > 0 ? blind : group.filter((l) => faulty(l.id))).map((l) => l.id);
}

// byLine gathers the conditions that stand, by line.
export function byLine(g: Geometry, alarms: readonly Alarm[]): Map<string, Set<string>> {
  const all = new Map<string, Set<string>>();
  for (const a of alarms) {
    for (const line of a.line ? [a.line] : doubted(g, a, alarms)) {
      const set = all.get(line) ?? new Set();
      set.add(a.condition);
      all.set(line, set);
    }
  }
  return all;
}

// reckoned has the loads by line of an assessment.
export type Reckoned = ReadonlyMap<string, number>;

export function nowScene(g: Geometry, b: Berth, alarms: readonly Alarm[], reckoned: Reckoned, cut: boolean): Scene {
  const conditions = byLine(g, alarms.filter((a) => a.berth === b.name && a.cleared === undefined));
  const lines = new Map<string, LineScene>();
  for (const l of g.lines) {
    const load = b.loads.get(l.id);
    const s: LineScene = { form: formOf(l, conditions.get(l.id) ?? new Set(), load?.kN, load?.sensor) };
    const about = reckoned.get(l.id);
    if (load?.kN !== undefined && l.instrumented) s.kN = load.kN;
    else if (about !== undefined && s.form !== "doubt") s.about = about;
    lines.set(l.id, s);
  }
  const scene: Scene = { kind: cut || !b.now.live ? "old" : "live", lines };
  const { wind, from, fwd, aft } = b.now;
  if (wind !== undefined) scene.wind = wind;
  if (from !== undefined) scene.from = from;
  if (fwd !== undefined) scene.fwd = fwd;
  if (aft !== undefined) scene.aft = aft;
  return scene;
}
