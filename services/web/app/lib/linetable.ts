// A berth's lines as a table: what the strips show, in figures.
import { attribute, el, inOrder, text } from "./dom";
import { concerns, faulty, groups, isOld, loadOf, marks, share, toLimit } from "./figures";
import { shape } from "./shapes";
import { span } from "./time";
import { figure, load, unit } from "./units";
import { condition, has, number, percent, say } from "./words";
import type { Alarm, Berth, LineFrame, Load } from "./wire";

const none = (): string => say("mooring.none");

interface Row { row: HTMLTableRowElement; cells: Record<"name" | "load" | "share" | "trend" | "brake" | "pin", HTMLElement>; told: string }

export class LineTable {
  readonly table: HTMLTableElement;
  private readonly body = el("tbody");
  private readonly rows = new Map<string, Row>();
  private readonly loadHead = el("th", { scope: "col", class: "n" });

  // narrow is for the side of a page: groups without their names, trends as figures.
  constructor(caption: string, private readonly narrow = false) {
    this.table = el("table", { class: narrow ? "lines-table narrow-table" : "lines-table" },
      el("caption", { class: "unseen" }, caption),
      el("thead", {}, el("tr", {},
        el("th", { scope: "col" }, say("mooring.head.line")), this.loadHead, el("th", { scope: "col", class: "n" }, say("mooring.head.share")),
        el("th", { scope: "col" }, say(narrow ? "mooring.head.trend-short" : "mooring.head.trend")), !narrow && el("th", { scope: "col" }, say("mooring.head.brake")), el("th", { scope: "col" }, say("mooring.head.pin")))),
      this.body);
  }

  // show brings the table up to date. alarms are all those of the berth.
  show(b: Berth, alarms: readonly Alarm[], now: number): void {
    const marked = alarms.filter(marks);
    const atFault = faulty(alarms, b.name);
    text(this.loadHead, say("mooring.head.load", { unit: unit() }));
    const rows: HTMLTableRowElement[] = [];
    for (const g of groups(b)) {
      for (const line of g.lines) {
        const r = this.rowOf(line);
        this.fill(r, b, line, loadOf(b, line), marked.filter((a) => concerns(a, line)), atFault.has(line.id), now);
        r.row.classList.toggle("first", line === g.lines[0]);
        rows.push(r.row);
      }
    }
    inOrder(this.body, rows);
  }

  private rowOf(line: LineFrame): Row {
    let r = this.rows.get(line.id);
    if (!r) {
      const cells = { name: el("th", { scope: "row" }), load: el("td", { class: "n" }), share: el("td", { class: "n share" }), trend: el("td"), brake: el("td"), pin: el("td") };
      const shown = this.narrow ? Object.values(cells).filter((c) => c !== cells.brake) : Object.values(cells);
      r = { row: el("tr", {}, ...shown), cells, told: "" };
      this.rows.set(line.id, r);
    }
    return r;
  }

  private fill(r: Row, b: Berth, line: LineFrame, l: Load, alarms: readonly Alarm[], atFault: boolean, now: number): void {
    const old = isOld(b, l);
    const s = share(line, l);
    const c = r.cells;
    const told = JSON.stringify([line.group, alarms.map((a) => [a.condition, a.priority, a.state]), l.brake]);
    if (told !== r.told) {
      r.told = told;
      c.name.replaceChildren(el("b", { title: groupOf(line) }, line.id), ...(this.narrow ? [] : [" ", el("span", { class: "small" }, groupOf(line))]));
      for (const a of alarms) {
        c.name.append(el("span", { class: `flag p-${a.priority}`, title: condition(a.condition) }, shape(a.priority, a.state === "active-acknowledged"), " ",
          el("span", { class: this.narrow ? "unseen" : false }, condition(a.condition))));
      }
      const held = heldBack(alarms, l);
      if (held && !this.narrow) c.name.append(el("span", { class: "small held" }, held));
    }
    attribute(r.row, "class", `${r.row.classList.contains("first") ? "first" : ""}${old ? " old" : ""}${s !== undefined && s >= 1 ? " over" : ""}`);
    text(c.load, l.kN === undefined ? none() : figure(l.kN));
    text(c.share, s === undefined ? none() : percent(s));
    text(c.trend, this.narrow ? shortTrend(line, l, old || atFault) : trend(line, l, old || atFault));
    text(c.brake, brake(line, l));
    text(c.pin, l.sensor === "good" && atFault ? say("mooring.sensor.fault") : pin(l, now));
  }
}

function groupOf(line: LineFrame): string {
  const key = `mooring.one.${line.group}`;
  return has(key) ? say(key) : line.group;
}

// heldBack says what is not told of a line because something worse is: one cause,
// one alarm.
export function heldBack(alarms: readonly Alarm[], l: Load): string {
  for (const a of alarms) {
    const key = `mooring.held.${a.condition}`;
    if (has(key)) return say(key);
  }
  return l.brake === false ? say("mooring.held.hand") : "";
}

const leastRate = 0.5; // kN a minute; less is written as 0

// trend says how fast a load changes and when it is at its limit.
export function trend(line: LineFrame, l: Load, old: boolean): string {
  if (old || l.kN === undefined) return none();
  if (l.rate === undefined || Math.abs(l.rate) < leastRate) return say("mooring.steady");
  const rate = say(l.rate > 0 ? "mooring.rises" : "mooring.falls", { load: load(Math.abs(l.rate)) });
  const minutes = toLimit(line, l);
  return minutes === undefined ? rate : `${rate}, ${say("mooring.to-limit", { time: span(minutes * 60_000) })}`;
}

function shortTrend(line: LineFrame, l: Load, old: boolean): string {
  if (old || l.kN === undefined || l.rate === undefined || Math.abs(l.rate) < leastRate) return none();
  const minutes = toLimit(line, l);
  const rate = (l.rate > 0 ? "+" : "\u2212") + figure(Math.abs(l.rate));
  return minutes === undefined ? rate : `${rate} → ${span(minutes * 60_000)}`;
}

function brake(line: LineFrame, l: Load): string {
  if (!line.winch) return say("mooring.brake.bitts");
  const set = say(l.brake === undefined ? "mooring.brake.unknown" : l.brake ? "mooring.brake.set" : "mooring.brake.released");
  if (l.payout === undefined) return set;
  return `${set}, ${say("mooring.metre", { n: (l.payout > 0 ? "+" : "") + number(l.payout, 2) })}`;
}

function pin(l: Load, now: number): string {
  const key = `mooring.sensor.${l.sensor}` as const;
  if (l.sensor !== "silent" && l.sensor !== "bad") return say(key);
  return l.at === undefined ? say(key) : `${say(key)}, ${say("time.ago", { age: span(now - l.at) })}`;
}
