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

export interface Stay { id: string; berth: string; ship: string; arrival: string; departure?: string; newest: string }

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

// lineOf is the line of a channel such as "7/tension".
export const lineOf = (c: Course): string => c.channel.split("/")[0] ?? "";
