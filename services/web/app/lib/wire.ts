// What the server tells, as services/web/wire.go writes it. Loads are kN, lengths
// metres, times Unix milliseconds of the server's clock unless said otherwise;
// what is not there is unknown.

export type Priority = "emergency" | "alarm" | "warning" | "caution";
export type Side = "terminal" | "ship";
export type Deed = "acknowledge" | "note" | "shelve" | "reset" | "out-of-service" | "end-hold";
export type Sensor = "good" | "bad" | "silent" | "none";
export type AlarmState =
  | "active-unacknowledged" | "active-acknowledged" | "returned-unacknowledged"
  | "normal" | "shelved" | "out-of-service" | "suppressed-by-design";

// A message is the whole picture or what changed of it.
export interface Message {
  at: number;
  build?: string;
  names?: string[];
  berths?: Record<string, BerthMessage>;
  alarms?: Alarms;
}

export interface BerthMessage {
  frame?: Frame;
  now?: Now;
  loss?: Loss;
  loads?: Record<string, Load>;
  course?: Record<string, Span[]>;
}

// A frame stays while a ship lies there. Lines are in the plan's order.
export interface Frame {
  ship: string;
  lines: LineFrame[];
  // By the plan: from which share of its limit a line is near that, from which ratio
  // to the others one makes its group uneven, and from which share of MBL in it.
  near: number;
  uneven: number;
  floor: number;
}

export interface LineFrame {
  id: string;
  group: string;
  mbl: number;
  limit: number; // working load limit
  winch?: boolean;
  pin?: boolean; // has a load pin
}

export interface Now {
  live?: boolean;
  at?: number; // readings last came in
  newest?: number; // time of the newest reading, by its source
  watch?: boolean; // under watch, as the berth says
  lies?: "fast" | "down" | "moved"; // as the detectors take it
  wind?: number; // m/s
  from?: number; // true bearing it blows from
  level?: number;
  fwd?: number; // draft
  aft?: number;
}

export interface Load {
  kN?: number;
  at?: number; // its last good reading came in
  sensor: Sensor;
  payout?: number;
  brake?: boolean; // set
  rate?: number; // kN a minute; not there where it is steady
  shown?: number; // kN from which its parting, which no load pin shows, is told; not there where that is not looked for
  hidden?: boolean; // it is told at no load
}

// A span is the load over ten seconds: its number since 1970, least, mean, greatest.
export type Span = [number, number, number, number];
export const spanSeconds = 10;
export const mostSpans = 60;

// A loss is the worst that the loss of any one line would do.
export interface Loss {
  lost?: string[]; // not there where nothing is reckoned
  line?: string; // loaded worst then
  kN?: number;
  share?: number; // of its working load limit
  adrift?: boolean; // nothing would hold the ship
  parts?: string[]; // would part after it
}

export interface Alarms { list: Alarm[]; holds: Hold[]; more?: number; more_returned?: number }

export interface Alarm {
  id: string;
  berth?: string; // not there for the server's own
  condition: string;
  line?: string;
  group?: string;
  source?: string; // whose readings it is about
  priority: Priority;
  state: AlarmState;
  raised: number; // by its source's clock
  recorded: number; // by the server's
  onset?: number;
  cleared?: number;
  returned?: number; // when it cleared, by the server's clock
  value?: number;
  limit?: number;
  unit?: string;
  detail?: string; // en-GB, as recorded: what was so when it was raised
  over?: string; // and when it cleared
  acks?: Acknowledgement[];
  notes?: Note[];
  level?: number; // how often escalated
  held?: Hold;
  under?: string; // the alarm for its cause, where it is suppressed
  may?: Deed[]; // what the caller may do about it, where one signs in
}

export interface Acknowledgement { side: Side; by: string; role?: string; at: number; note?: string }
export interface Note { side: Side; by: string; at: number; text: string }

export interface Hold {
  berth?: string;
  condition?: string; // not there for all of a line
  line?: string;
  group?: string;
  source?: string;
  since: number;
  until?: number; // not there for what is out of service
  by: string;
  side: Side;
  reason?: string;
  may?: Deed[]; // what the caller may do about it, where one signs in
}

// A Picture is what the messages so far amount to.
export interface Picture {
  at: number;
  names: string[]; // berths in order
  berths: Map<string, Berth>;
  alarms: Alarms;
}

export interface Berth {
  name: string;
  frame: Frame;
  now: Now;
  loss: Loss;
  loads: Map<string, Load>; // by line
  course: Map<string, Span[]>; // by line, oldest first, spans that are over
}
