// Asks the server for what was: courses, spectra, alarms, stays.
import { say } from "../lib/words";
import type { Alarm } from "../lib/wire";

// A Course is one channel in steps, or its readings where they are few: columns
// of one length, times Unix ms.
export interface Course {
  channel: string;
  unit: string;
  step_ms?: number;
  time_ms: number[];
  value: number[];
  min?: number[];
  max?: number[];
  std?: number[];
  count?: number[];
}

export interface Spectrum {
  segment_s: number;
  segments: number;
  hz: number[];
  density: number[];
  peaks: { seconds: number; share: number }[];
}

export interface Stay { id: string; berth: string; ship: string; plans: { plan: string; since: string }[]; arrival: string; departure?: string; newest: string }

// Under is what lines a berth had from a time on, by the plan it was under, and what
// each could bear.
export interface Under { since: number; lines: { id: string; group: string; limit: number }[] }

// Failed is why the server did not answer, to be read by people.
export class Failed extends Error {}

async function get<T>(path: string, query: Record<string, string>, signal: AbortSignal): Promise<T> {
  let answer: Response;
  try {
    answer = await fetch(`${path}?${new URLSearchParams(query)}`, { signal, cache: "no-store" });
  } catch (e) {
    if (signal.aborted) throw e;
    throw new Failed(say("alarm.refused.no-answer"));
  }
  if (answer.status === 401) location.reload();
  if (!answer.ok) throw new Failed(say("engineer.failed", { why: (await answer.text()).trim() }));
  return (await answer.json()) as T;
}

export interface Time { berth: string; from: number; to: number }

const between = (t: Time): Record<string, string> =>
  ({ berth: t.berth, from: new Date(t.from).toISOString(), to: new Date(t.to).toISOString() });

// courses gives a channel, or a kind on every line, in at most so many steps.
export function courses(t: Time, channel: string, points: number, signal: AbortSignal): Promise<Course[]> {
  return get("/api/history", { ...between(t), channel, points: String(points) }, signal);
}

export function spectrum(t: Time, line: string, signal: AbortSignal): Promise<Spectrum> {
  return get("/api/spectrum", { ...between(t), channel: `${line}/tension` }, signal);
}

// alarms gives those that were active at some time in it, oldest first.
export async function alarms(t: Time, signal: AbortSignal): Promise<Alarm[]> {
  return (await get<{ list: Alarm[] }>("/api/alarms", between(t), signal)).list;
}

export async function stays(berth: string, signal: AbortSignal): Promise<Stay[]> {
  return (await get<{ stays: Stay[] }>("/api/stays", { berth }, signal)).stays;
}

const asPlanned = new Map<string, Under["lines"]>(); // by berth and fingerprint: a version never changes

async function planned(berth: string, version: string, signal: AbortSignal): Promise<Under["lines"]> {
  const key = `${berth} ${version}`, had = asPlanned.get(key);
  if (had) return had;
  const plan = await get<{ lines: { id: string; group: string; working_load_kN: number }[] }>("/api/plan", { berth, version }, signal);
  const lines = plan.lines.map((l) => ({ id: l.id, group: l.group, limit: l.working_load_kN }));
  asPlanned.set(key, lines);
  return lines;
}

// under gives the plans that a berth was under in a time, oldest first; one that the
// server does not give has no lines.
export async function under(t: Time, stays: readonly Stay[], signal: AbortSignal): Promise<Under[]> {
  const uses = stays.filter((s) => s.berth === t.berth).flatMap((s) => s.plans.map((p, i) => ({
    plan: p.plan, since: Date.parse(p.since), until: Date.parse(s.plans[i + 1]?.since ?? s.departure ?? s.newest),
  })));
  const then = uses.filter((u) => u.since < t.to && u.until >= t.from).sort((a, b) => a.since - b.since);
  return Promise.all(then.map(async (u) => ({
    since: u.since,
    lines: await planned(t.berth, u.plan, signal).catch((e: unknown) => {
      if (e instanceof Failed) return [];
      throw e;
    }),
  })));
}

// limitAt is a line's working load limit at a time, kN.
export function limitAt(all: readonly Under[], line: string, at: number): number | undefined {
  const then = all.findLast((u) => u.since <= at) ?? all[0];
  return then?.lines.find((l) => l.id === line)?.limit;
}

// lineOf is the line of a channel such as "7/tension".
export const lineOf = (c: Course): string => c.channel.split("/")[0] ?? "";
