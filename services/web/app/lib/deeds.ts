// What people do to alarms.
import { isActive } from "./figures";
import { setup } from "./setup";
import { settings } from "./settings";
import { short } from "./time";
import { has, say } from "./words";
import type { Alarm, Deed, Hold, Side } from "./wire";

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

// given tells whether a deed is given to the caller's role; where nobody signs in, all
// are. The server says so, by the rules it would refuse by.
export function given(of: { may?: Deed[] }, deed: Deed): boolean {
  return !setup.signed || (of.may?.includes(deed) ?? false);
}

// withheld names the deeds that would be in place and are not given to the caller's
// role; "" for none.
export function withheld<D extends Deed>(of: { may?: Deed[] }, inPlace: readonly D[], name: (d: D) => string): string {
  const names = inPlace.filter((d) => !given(of, d)).map(name);
  return names.length === 0 ? "" : say("alarm.not-given", { deeds: names.join(", ") });
}

type AlarmDeed = Exclude<Deed, "end-hold">;

export const deedName = (d: AlarmDeed): string => say(`alarm.${d}`);

// inPlace are the deeds that an alarm's state leaves to be done.
export function inPlace(a: Alarm): AlarmDeed[] {
  const active = a.state.startsWith("active");
  const all: Record<AlarmDeed, boolean> = {
    acknowledge: sidesOpen(a).length > 0,
    shelve: active && a.priority !== "emergency",
    "out-of-service": active && a.line !== undefined && a.berth !== undefined,
    note: true,
    reset: (a.condition === "line-parted" || a.condition === "redistribution") && isActive(a), // stays until somebody says that it is over
  };
  return (Object.keys(all) as AlarmDeed[]).filter((d) => all[d]);
}

export function may(a: Alarm, deed: AlarmDeed): boolean { return inPlace(a).includes(deed) && given(a, deed); }

// sidesOpen are those for which an alarm can still be acknowledged here.
function sidesOpen(a: Alarm): Side[] {
  if (a.state === "normal") return [];
  const sides: Side[] = setup.side ? [setup.side] : settings.side === "ship" ? ["ship", "terminal"] : ["terminal", "ship"];
  return sides.filter((side) => !a.acks?.some((k) => k.side === side));
}

// mayAcknowledge tells for which sides the caller can still acknowledge an alarm.
export function mayAcknowledge(a: Alarm): Side[] { return given(a, "acknowledge") ? sidesOpen(a) : []; }
