// Times in the viewer's zone, UTC at hand, and spans of time as people say them.
import { setup } from "./setup";
import { say } from "./words";

const clock: Intl.DateTimeFormatOptions = { hour: "2-digit", minute: "2-digit", second: "2-digit", hour12: false };
const local = new Intl.DateTimeFormat(setup.lang, clock);
const zoned = new Intl.DateTimeFormat(setup.lang, { ...clock, timeZoneName: "short" });
const minutes = new Intl.DateTimeFormat(setup.lang, { hour: "2-digit", minute: "2-digit", hour12: false });
const minutesDay = new Intl.DateTimeFormat(setup.lang, { hour: "2-digit", minute: "2-digit", hour12: false, day: "numeric", month: "short" });
const localDay = new Intl.DateTimeFormat(setup.lang, { ...clock, day: "numeric", month: "short" });
const localYear = new Intl.DateTimeFormat(setup.lang, { ...clock, day: "numeric", month: "short", year: "numeric" });
const full = new Intl.DateTimeFormat(setup.lang, { ...clock, day: "numeric", month: "short", year: "numeric", timeZoneName: "short" });
const utc = new Intl.DateTimeFormat(setup.lang, { ...clock, timeZone: "UTC" });
const utcFull = new Intl.DateTimeFormat(setup.lang, { ...clock, timeZone: "UTC", day: "numeric", month: "short", year: "numeric" });

const day = 86_400_000;

// short writes a time of today as such, another with its day, and of another year with
// that.
export function short(at: number, now: number): string {
  if (Math.abs(now - at) < day / 2) return local.format(at);
  return (new Date(at).getFullYear() === new Date(now).getFullYear() ? localDay : localYear).format(at);
}

// hour writes hours and minutes, for an axis.
export function hour(at: number): string { return minutes.format(at); }

// zone names the viewer's at a time: by daylight saving it may be another.
export function zone(at: number): string { return zoned.formatToParts(at).find((p) => p.type === "timeZoneName")?.value ?? ""; }

export function inZone(at: number): string { return full.format(at); }
export function inUTC(at: number): string { return say("time.utc", { time: utcFull.format(at) }); }
// clockLocal is the viewer's own clock with its zone, "" while that is at UTC.
export function clockLocal(at: number): string { return new Date(at).getTimezoneOffset() === 0 ? "" : zoned.format(at); }
export function clockUTC(at: number): string { return say("time.utc", { time: utc.format(at) }); }

// stamp makes a <time> in the viewer's zone, with UTC on hover and for readers.
export function stamp(at: number, now: number): HTMLTimeElement { return timed(at, short(at, now)); }

// foreseen makes a <time> of what is reckoned ahead, to the minute and with its day
// where that is another.
export function foreseen(at: number, now: number): HTMLTimeElement {
  return timed(at, new Date(at).toDateString() === new Date(now).toDateString() ? minutes.format(at) : minutesDay.format(at));
}

function timed(at: number, words: string): HTMLTimeElement {
  const t = document.createElement("time");
  t.dateTime = new Date(at).toISOString();
  t.textContent = words;
  t.title = `${inZone(at)} · ${inUTC(at)}`;
  return t;
}

// localise puts the times of a page that the server drew into the viewer's zone.
export function localise(root: ParentNode): void {
  for (const t of root.querySelectorAll("time")) {
    const at = Date.parse(t.dateTime);
    if (Number.isNaN(at)) continue;
    t.title = t.textContent ?? "";
    t.textContent = full.format(at);
  }
}

// span writes a length of time, in ms.
export function span(ms: number): string {
  const s = Math.max(0, Math.floor(ms / 1000));
  if (s < 60) return say("time.seconds", { n: s });
  if (s < 600) return say("time.minutes-seconds", { n: Math.floor(s / 60), s: s % 60 });
  if (s < 3600) return say("time.minutes", { n: Math.floor(s / 60) });
  if (s < 48 * 3600) return say("time.hours", { n: Math.floor(s / 3600), m: Math.floor((s % 3600) / 60) });
  return say("time.days", { n: Math.floor(s / 86400) });
}
