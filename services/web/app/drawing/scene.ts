// What there is to show of a mooring at one time, whether live, past or only
// planned.

// A Form is how a line is drawn: each is another shape, with a word beside it.
export type Form =
  | "parted" // alarm
  | "doubt" // it has no load pin, and the ship moved as if it had parted
  | "over" // at or over its working load limit
  | "slips" // its brake slips, or it renders
  | "near" // the watch warns
  | "slack"
  | "fault" // its load pin is not to be believed
  | "silent" // nothing comes from its load pin
  | "no-pin" // it never had one
  | "steady";

// forms are in the order in which one goes before another.
export const forms: readonly Form[] = ["parted", "doubt", "over", "slips", "near", "fault", "silent", "slack", "no-pin", "steady"];

export interface LineScene {
  form: Form;
  kN?: number; // measured, or the plan's
  about?: number; // reckoned, where nothing is measured
}

export interface Scene {
  kind: "live" | "old" | "past" | "planned";
  lines: Map<string, LineScene>;
  wind?: number; // m/s
  from?: number; // true bearing
  fwd?: number; // draft, m
  aft?: number;
}

// urgent forms have the line's number on it.
export function urgent(f: Form, kind: Scene["kind"]): boolean {
  return f !== "steady" && f !== "no-pin" && (f !== "silent" || kind === "live");
}
