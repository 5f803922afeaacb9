// What the parts of the deck page have in common.
import { calls, isActive } from "../lib/figures";
import type { Live } from "../lib/live";
import { setup } from "../lib/setup";
import type { Alarm, Berth, Load, Side } from "../lib/wire";

// A Part draws its own element from the picture, as often as it is asked to.
export interface Part {
  readonly root: Element;
  draw(): void;
}

// Which is the berth that the page is of, if it is known yet.
export type Which = () => string | undefined;

// Who is on deck acts for the ship, unless they have signed in for another.
export const side: Side = setup.side ?? "ship";

// oldAfter is when a reading is no longer one of now, ms.
const oldAfter = 10_000;

// old tells whether a line's load must not be taken for its present one.
export function old(live: Live, b: Berth, l: Load | undefined): boolean {
  return !live.hears(b) || l?.at === undefined || live.now() - l.at > oldAfter;
}

// present gives the alarms of the berth and the server's own that are active, the
// worst first, then those that are over and that nobody has acknowledged.
export function present(live: Live, berth: string | undefined): Alarm[] {
  return live.picture.alarms.list.filter((a) => (isActive(a) || calls(a)) && (a.berth === undefined || a.berth === berth));
}

// waiting tells whether nobody has acknowledged an alarm for this side.
export function waiting(a: Alarm): boolean {
  return !a.acks?.some((k) => k.side === side);
}
