// What people do to alarms.
import { isActive } from "./figures";
import { setup } from "./setup";
import { settings } from "./settings";
import { short } from "./time";
import { has, say } from "./words";
import type { Alarm, Hold, Side } from "./wire";

// undone is why a deed was not done, in words; "" where it was.
export type Undone = string;

interface Refusal { refused?: string; by?: string; side?: Side; at?: number }

export function sideName(side: Side): string { return say(side === "ship" ? "shell.side.ship" : "shell.side.terminal"); }

async function post(path: string, form: Record<string, string>): Promise<Undone> {
  let answer: Response;
  try {
    answer = await fetch(path, {
      method: "POST", redirect: "error", cache: "no-store", signal: AbortSignal.timeout(15_000),
      body: new URLSearchParams({ by: settings.by, side: settings.side, ...form }),
    });
  } catch {
    return say("alarm.refused.no-answer");
  }
  if (answer.ok) return "";
  if (answer.status === 401) {
    location.reload();
    return say("alarm.refused.not-allowed");
  }
  if (answer.status === 403) return say("alarm.refused.not-allowed");
  let no: Refusal = {};
  try {
    no = (await answer.json()) as Refusal;
  } catch {
    // no refusal of ours
  }
  const key = `alarm.refused.${no.refused ?? ""}`;
  if (!has(key)) return say("alarm.refused");
  const now = Date.now();
  return say(key, { by: no.by ?? "", side: no.side ? sideName(no.side) : "", time: short(no.at ?? now, now) });
}

const place = (berth?: string, condition?: string, line?: string, group?: string, source?: string): string =>
  [berth, condition, line, group, source].map((s) => s ?? "").join("/");

export const deeds = {
  acknowledge: (a: Alarm, note = "", side: Side = settings.side): Promise<Undone> => post("/acknowledge", { id: a.id, note, side }),
  note: (a: Alarm, note: string): Promise<Undone> => post("/note", { id: a.id, note }),
  // reset says that a line told as parted holds again.
  reset: (a: Alarm, reason: string): Promise<Undone> => post("/reset", { id: a.id, note: reason }),
  // shelve keeps an alarm quiet for so many minutes.
  shelve: (a: Alarm, reason: string, minutes: number): Promise<Undone> => post("/shelve", { id: a.id, note: reason, period: `${minutes}m` }),
  // outOfService keeps all alarms of a line quiet until it is put back.
  outOfService: (berth: string, line: string, reason: string): Promise<Undone> => post("/out-of-service", { place: place(berth, "", line), note: reason }),
  endHold: (h: Hold, note = ""): Promise<Undone> => post("/end-hold", { place: place(h.berth, h.condition, h.line, h.group, h.source), note }),
};

// mayAcknowledge tells for which sides an alarm can still be acknowledged here.
export function mayAcknowledge(a: Alarm): Side[] {
  if (a.state === "normal") return [];
  const sides: Side[] = setup.side ? [setup.side] : settings.side === "ship" ? ["ship", "terminal"] : ["terminal", "ship"];
  return sides.filter((side) => !a.acks?.some((k) => k.side === side));
}

export function mayShelve(a: Alarm): boolean {
  return a.priority !== "emergency" && a.state.startsWith("active");
}

// mayReset tells whether an alarm stays until somebody says that it is over.
export function mayReset(a: Alarm): boolean {
  return (a.condition === "line-parted" || a.condition === "redistribution") && isActive(a);
}

export function mayTakeOut(a: Alarm): boolean {
  return a.line !== undefined && a.berth !== undefined && a.state.startsWith("active");
}
