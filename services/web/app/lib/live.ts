// The live picture: that in the page at first, then whatever /live tells. A page
// that has heard nothing for five seconds is not live, and says so.
import { setup } from "./setup";
import { mostSpans, type Berth, type BerthMessage, type Message, type Picture, type Span } from "./wire";

export type Link = "waiting" | "live" | "cut";

// A Change is what is new in the picture.
export interface Change {
  names: boolean; // which berths there are, or which ship lies there
  berths: ReadonlySet<string>; // whose figures
  alarms: boolean;
  link: boolean;
}

const quietAfter = 5000; // ms
const again = 1000; // ms from one try to the next

export class Live {
  readonly picture: Picture = { at: 0, names: [], berths: new Map(), alarms: { list: [], holds: [] } };
  link: Link = "waiting";
  private readonly subscribers = new Set<(c: Change) => void>();
  private readonly everySecond = new Set<() => void>();
  private heard = performance.now();
  private offset = 0; // from the monotonic clock to the server's
  private mark = "";
  private source: EventSource | undefined;
  private retry = 0;

  constructor() {
    if (setup.whole) this.enter(setup.whole, true);
    this.mark = "";
    this.comeBack();
    this.connect();
    setInterval(() => this.settle(), 1000);
  }

  // now is the server's time.
  now(): number { return performance.now() + this.offset; }

  // quiet is how long nothing has been heard, ms.
  quiet(): number { return performance.now() - this.heard; }

  // hears tells whether readings of the berth come in.
  hears(b: Berth): boolean { return this.link !== "cut" && b.now.live === true; }

  // subscribe calls fn with each change.
  subscribe(fn: (c: Change) => void): void { this.subscribers.add(fn); }

  // eachSecond calls fn once a second, for ages.
  eachSecond(fn: () => void): void { this.everySecond.add(fn); }

  // comeBack makes the page as old as it is, where the device had kept it and could
  // not get another: ages go on from when it was kept, by the device's clock.
  private comeBack(): void {
    const kept = Number(document.documentElement.dataset["kept"]);
    if (!kept) return;
    const age = Math.max(0, Date.now() - kept);
    this.heard -= age;
    this.offset += age;
    this.link = "cut";
  }

  private connect(): void {
    clearTimeout(this.retry);
    const query = new URLSearchParams();
    if (setup.berth) query.set("berth", setup.berth);
    if (this.mark) query.set("after", this.mark);
    const source = new EventSource(`/live?${query}`);
    this.source = source;
    const take = (whole: boolean) => (e: MessageEvent<string>): void => {
      this.mark = e.lastEventId;
      this.enter(JSON.parse(e.data) as Message, whole);
    };
    source.addEventListener("whole", take(true));
    source.addEventListener("change", take(false));
    source.addEventListener("error", () => this.dropped());
  }

  // dropped begins again a second later, by the newest mark.
  private dropped(): void {
    this.source?.close();
    clearTimeout(this.retry);
    this.retry = setTimeout(() => this.connect(), again);
    void signedOut();
  }

  private enter(m: Message, whole: boolean): void {
    if (m.build !== undefined && m.build !== setup.build) location.reload(); // the server is another
    this.heard = performance.now();
    this.offset = m.at - this.heard;
    const p = this.picture;
    p.at = m.at;
    const change = { names: false, berths: new Set<string>(), alarms: m.alarms !== undefined, link: false };
    if (whole) {
      change.names = true;
      p.names = m.names ?? [];
      const kept = new Set(p.names);
      for (const name of [...p.berths.keys()]) if (!kept.has(name)) p.berths.delete(name);
    }
    if (m.alarms) p.alarms = m.alarms;
    for (const [name, b] of Object.entries(m.berths ?? {})) {
      if (b.frame) change.names = true;
      merge(p.berths, name, b);
      change.berths.add(name);
    }
    if (this.source && this.link !== "live") {
      this.link = "live";
      change.link = true;
    }
    this.tell(change);
  }

  private settle(): void {
    if (this.link === "live" && this.quiet() > quietAfter) {
      this.link = "cut";
      this.tell({ names: false, berths: new Set(this.picture.names), alarms: false, link: true });
      this.dropped(); // a link that is dead without a word
    }
    this.everySecond.forEach((fn) => fn());
  }

  private tell(c: Change): void { this.subscribers.forEach((fn) => fn(c)); }
}

function merge(berths: Map<string, Berth>, name: string, m: BerthMessage): void {
  let b = berths.get(name);
  if (m.frame) {
    b = { name, frame: m.frame, now: {}, loss: {}, loads: new Map(), course: new Map() };
    berths.set(name, b);
  }
  if (!b) return; // never: a frame comes first
  if (m.now) b.now = m.now;
  if (m.loss) b.loss = m.loss;
  for (const [line, load] of Object.entries(m.loads ?? {})) b.loads.set(line, load);
  for (const [line, spans] of Object.entries(m.course ?? {})) b.course.set(line, join(b.course.get(line) ?? [], spans));
}

// join puts new spans among old ones and keeps those of the last ten minutes.
function join(old: Span[], fresh: Span[]): Span[] {
  const byNumber = new Map(old.map((s) => [s[0], s]));
  for (const s of fresh) byNumber.set(s[0], s);
  const all = [...byNumber.values()].sort((a, b) => a[0] - b[0]);
  const newest = all.at(-1)?.[0] ?? 0;
  return all.filter((s) => s[0] > newest - mostSpans);
}

// signedOut goes to where one signs in when the session is over: the page then
// answers with the way there.
async function signedOut(): Promise<void> {
  if (!setup.signed) return;
  try {
    const page = await fetch(location.href, { method: "HEAD", redirect: "manual", cache: "no-store" });
    if (page.type === "opaqueredirect") location.reload();
  } catch {
    // no answer: the page says so
  }
}
