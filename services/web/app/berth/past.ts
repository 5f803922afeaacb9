// The last hours of a berth out of the history, for the same drawing.
import type { Geometry } from "../drawing/plan";
import type { LineScene, Scene } from "../drawing/scene";
import type { Alarm } from "../lib/wire";
import { byLine, formOf, stood } from "./now";

interface Course { time_ms: number[]; value: number[] }

const atOnce = 6; // questions to the store
const slow = 900_000; // ms that a level or a draft is good for
export const moments = 240; // of a span looked back over

// Past is what was, in steps.
export class Past {
  private constructor(readonly from: number, readonly step: number, private readonly end: number, private readonly courses: ReadonlyMap<string, Course>, private readonly alarms: readonly Alarm[]) {}

  // read asks the history for so many hours up to a time.
  static async read(g: Geometry, hours: number, end: number): Promise<Past> {
    const step = Math.max(1000, Math.ceil((hours * 3600) / moments) * 1000);
    const to = Math.ceil(end / step) * step;
    const from = to - moments * step;
    const channels = [...g.lines.filter((l) => l.instrumented).map((l) => `${l.id}/tension`), "wind/speed", "wind/direction", "water/level", "ship/draft-fwd", "ship/draft-aft"];
    const courses = new Map<string, Course>();
    const left = [...channels];
    const ask = async (): Promise<void> => {
      for (let channel = left.shift(); channel !== undefined; channel = left.shift()) {
        const query = new URLSearchParams({ berth: g.berth, channel, from: new Date(from).toISOString(), to: new Date(to).toISOString(), step: `${step / 1000}s` });
        const answer = await fetch(`/api/history?${query}`, { cache: "no-store", signal: AbortSignal.timeout(30_000) });
        if (!answer.ok) throw new Error(await answer.text());
        const got = (await answer.json()) as Course[];
        if (got[0]) courses.set(channel, got[0]);
      }
    };
    const [alarms] = await Promise.all([alarmsOf(g.berth, from, to), ...Array.from({ length: atOnce }, ask)]);
    return new Past(from, step, end, courses, alarms);
  }

  // time is that of a step, in its middle.
  time(k: number): number { return Math.min(this.from + (k + 0.5) * this.step, this.end); }

  // empty tells whether there is nothing on record.
  get empty(): boolean { return [...this.courses.values()].every((c) => c.time_ms.length === 0); }

  value(channel: string, k: number): number | undefined {
    const c = this.courses.get(channel);
    if (!c) return undefined;
    const at = this.from + k * this.step;
    let lo = 0;
    let hi = c.time_ms.length;
    while (lo < hi) {
      const mid = (lo + hi) >> 1;
      if ((c.time_ms[mid] ?? 0) < at) lo = mid + 1;
      else hi = mid;
    }
    const t = c.time_ms[lo];
    return t !== undefined && t < at + this.step ? c.value[lo] : undefined;
  }

  // last is the newest value by a step of a channel that changes slowly.
  last(channel: string, k: number): number | undefined {
    for (let back = 0; back * this.step <= slow; back++) {
      const v = this.value(channel, k - back);
      if (v !== undefined) return v;
    }
    return undefined;
  }

  // scene is the mooring at a step, with the alarms that stood then.
  scene(g: Geometry, k: number): Scene {
    const at = this.time(k);
    const conditions = byLine(g, this.alarms.filter((a) => stood(a, at)));
    const lines = new Map<string, LineScene>();
    for (const l of g.lines) {
      const kN = this.value(`${l.id}/tension`, k);
      const s: LineScene = { form: formOf(l, conditions.get(l.id) ?? new Set(), kN, undefined) };
      if (kN !== undefined) s.kN = kN;
      lines.set(l.id, s);
    }
    const scene: Scene = { kind: "past", lines };
    const put = (name: "wind" | "from" | "fwd" | "aft", channel: string): void => {
      const v = name === "fwd" || name === "aft" ? this.last(channel, k) : this.value(channel, k);
      if (v !== undefined) scene[name] = v;
    };
    put("wind", "wind/speed");
    put("from", "wind/direction");
    put("fwd", "ship/draft-fwd");
    put("aft", "ship/draft-aft");
    return scene;
  }
}

// alarmsOf gives the alarms of a berth that stood at some time between two.
async function alarmsOf(berth: string, from: number, to: number): Promise<Alarm[]> {
  const query = new URLSearchParams({ berth, from: new Date(from).toISOString(), to: new Date(to).toISOString() });
  const answer = await fetch(`/api/alarms?${query}`, { cache: "no-store", signal: AbortSignal.timeout(30_000) });
  if (!answer.ok) throw new Error(await answer.text());
  return ((await answer.json()) as { list: Alarm[] }).list;
}
