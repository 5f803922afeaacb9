// What the page shows is in its address: whoever is sent it sees the same.
import { setup } from "../lib/setup";

export interface State {
  berth: string;
  // last is a time up to now, ms; without it the page shows from..to.
  last: number | undefined;
  timed: boolean; // someone asked for that time
  from: number;
  to: number;
  lines: string[]; // shown; none for all
  share: boolean; // loads as shares of the working load limit
  // beside is another time, or berth, to compare with: from when, for as long.
  beside: { berth: string; from: number } | undefined;
  of: string; // line whose swing and scatter are shown, "" for the first
  against: Against;
}

export const againsts = ["level", "wind", "draft"] as const;
export type Against = (typeof againsts)[number];

const hour = 3_600_000;
const usual = 6 * hour;
export const periods = [hour / 6, hour, 6 * hour, 24 * hour, 7 * 24 * hour, 30 * 24 * hour, 365 * 24 * hour];
const shortest = 10_000;

// covering is the shortest period that covers ms, the usual one at most: what is shown
// where nobody asked for a time, so that a new stay's first minutes fill the charts.
export function covering(ms: number): number {
  return periods.find((p) => p >= Math.min(ms, usual)) ?? usual;
}

export function read(now: number): State {
  const q = new URLSearchParams(location.search);
  const time = (name: string): number => Date.parse(q.get(name) ?? "");
  const from = time("from"), to = time("to");
  const fixed = to - from >= shortest;
  const last = Number(q.get("last")) * 1000;
  const [with_, since] = [q.get("with"), time("since")];
  const against = againsts.find((a) => a === q.get("against")) ?? "level";
  const span = last >= shortest ? last : usual;
  return {
    berth: q.get("at") ?? setup.berth ?? "",
    last: fixed ? undefined : span,
    timed: fixed || last >= shortest,
    from: fixed ? from : now - span,
    to: fixed ? to : now,
    lines: (q.get("lines") ?? "").split(",").filter((s) => s !== ""),
    share: q.get("loads") === "share",
    beside: with_ && !Number.isNaN(since) ? { berth: with_, from: since } : undefined,
    of: q.get("of") ?? "",
    against,
  };
}

// address writes the state as the page's address.
export function address(s: State): string {
  const q = new URLSearchParams({ at: s.berth });
  const iso = (t: number): string => new Date(t).toISOString();
  if (s.timed && s.last !== undefined) {
    q.set("last", String(s.last / 1000));
  } else if (s.timed) {
    q.set("from", iso(s.from));
    q.set("to", iso(s.to));
  }
  if (s.lines.length) q.set("lines", s.lines.join(","));
  if (s.share) q.set("loads", "share");
  if (s.beside) {
    q.set("with", s.beside.berth);
    q.set("since", iso(s.beside.from));
  }
  if (s.of) q.set("of", s.of);
  if (s.against !== "level") q.set("against", s.against);
  return `/engineer?${q}`;
}
