// What the server reckons of a berth: hawser.v1.AssessResponse as JSON, the parts
// that pages show.

export type Limit = "LOAD_LIMIT_BELOW" | "LOAD_LIMIT_APPROACHING" | "LOAD_LIMIT_WORKING_LOAD" | "LOAD_LIMIT_BRAKE" | "LOAD_LIMIT_BREAKING";

export interface Assessment {
  converged: boolean;
  heldShare: number;
  wind: object | null; // none where nobody tells it
  measuredLines: number;
  loadsOverSeconds: number; // of lines and losses; the rest is of the minute
  waterLevelM: number;
  lines: { line: string; tensionKn: number; lowKn: number; highKn: number; limit: Limit }[];
  losses: Loss[];
  actions: Action[];
  settles?: boolean;
  leftAlone: { line: string; reason: LeftAlone }[];
  ahead: { time: string; waterLevelM: number; tensionKn: number[] }[];
  tend: Tend[];
}

// LeftAlone is why no winch of a line is to be worked by what is reckoned.
export type LeftAlone = "REASON_MAY_HAVE_PARTED" | "REASON_PIN_AT_FAULT" | "REASON_SAID_TO_HOLD";

export interface Loss {
  lost: string[];
  converged: boolean;
  holds: boolean;
  worst: { line: string; tensionKn: number; lowKn: number; highKn: number; limit: Limit } | null;
  renders: string[];
  cascade: string[];
}

export interface Action { line: string; payOutM: number; fromKn: number; toKn: number; onWinch: boolean }
export interface Tend { line: string; from: string; to: string; limit: Limit; limitAt: string }

// assess asks about a berth as it is now. It gives nothing where there is nothing to
// reckon from, or no answer: the link says so already.
export async function assess(berth: string, ask: Record<string, string>): Promise<Assessment | undefined> {
  try {
    const answer = await fetch(`/api/assess?${new URLSearchParams({ berth, ...ask })}`, { cache: "no-store", signal: AbortSignal.timeout(25_000) });
    return answer.ok ? ((await answer.json()) as Assessment) : undefined;
  } catch {
    return undefined;
  }
}

// minute is the time that loads are means over where nothing is in a hurry, in seconds.
export const minute = 60;

const limits: readonly Limit[] = ["LOAD_LIMIT_BELOW", "LOAD_LIMIT_APPROACHING", "LOAD_LIMIT_WORKING_LOAD", "LOAD_LIMIT_BRAKE", "LOAD_LIMIT_BREAKING"];

// reached tells whether a limit is at or beyond another.
export function reached(l: Limit, least: Limit): boolean { return limits.indexOf(l) >= limits.indexOf(least); }
