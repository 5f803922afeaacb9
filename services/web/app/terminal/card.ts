// One berth on the board.
import { attribute, el, inOrder, nodes, text, type Child } from "../lib/dom";
import { behind, calls, concerns, faulty, greatest, groups, isActive, isOld, loadOf, marks, moving, priorities, share, toLimit, worst } from "../lib/figures";
import { LineTable } from "../lib/linetable";
import { shape } from "../lib/shapes";
import { Strips } from "../lib/strips";
import { span } from "../lib/time";
import { load, wind } from "../lib/units";
import { count, has, number, percent, say } from "../lib/words";
import type { Alarm, Berth, Priority } from "../lib/wire";

const soon = 60; // minutes in which a limit within reach is told

export class Card {
  readonly node: HTMLElement;
  private readonly ship = el("span", { class: "ship" });
  private readonly state = el("p", { class: "state" });
  private readonly strips = new Strips();
  private readonly lines = el("ol", { class: "lines" });
  private readonly groups = el("ol", { class: "groups", "aria-hidden": "true" });
  private readonly bed = el("div", { class: "bed", role: "group", "aria-label": say("terminal.shares") }, this.strips.canvas, this.lines, this.groups);
  private readonly coming = el("span");
  private readonly beside = el("span");
  private readonly table: LineTable;
  private cells: { id: HTMLElement; share: HTMLElement; node: HTMLElement }[] = [];
  private frame: unknown; // that the cells are of
  private flags: ReadonlyMap<string, Priority> = new Map();
  private drawn = ""; // what the state says
  private spans: unknown[] = []; // newest of each course that is drawn

  constructor(readonly name: string, choose: (name: string) => void) {
    const button = el("button", { type: "button", class: "pick" }, name);
    button.addEventListener("click", () => choose(name));
    this.table = new LineTable(say("terminal.lines-of", { berth: name }));
    // Where more lines than have room are drawn along, the keyboard draws them too.
    const along = new ResizeObserver(() => {
      for (const e of [this.bed, this.table.table]) attribute(e, "tabindex", e.scrollWidth > e.clientWidth + 1 ? "0" : undefined);
    });
    for (const e of [this.bed, this.table.table, ...this.table.table.tBodies]) along.observe(e); // the table's body grows within it
    this.node = el("li", { class: "card" },
      el("header", {}, el("h3", {}, button), this.ship, this.state),
      this.bed,
      el("p", { class: "berth-facts" }, this.coming, this.beside), this.table.table);
  }

  focus(): void { this.node.querySelector<HTMLElement>(".pick")?.focus(); }

  // show brings the card up to date. alarms are all those of the berth, worst first.
  show(b: Berth, alarms: readonly Alarm[], o: { now: number; cut: boolean; chosen: boolean; tables: boolean; flagged: boolean }): void {
    const active = alarms.filter(isActive);
    if (this.frame !== b.frame) this.layOut(b);
    if (o.flagged) this.flags = flagsOf(b, alarms.filter(marks));
    const spans = b.frame.lines.map((l) => b.course.get(l.id)?.at(-1));
    const fresh = spans.some((s, i) => s !== this.spans[i]);
    this.spans = spans;
    this.strips.show(b, this.flags, o.cut, fresh || o.flagged);
    const atFault = faulty(alarms, b.name);
    this.figures(b, o.cut, new Set([...active.filter((a) => a.condition === "line-parted").map((a) => a.line ?? ""), ...atFault]));
    this.stateOf(b, active, o.now);
    this.factsOf(b, atFault);
    attribute(this.node, "class", ["card", (!b.now.live || o.cut) && "old", o.chosen && "chosen", active[0] && `p-${active[0].priority}`, active.some(calls) && "calls"].filter(Boolean).join(" "));
    attribute(this.node.querySelector(".pick") ?? this.node, "aria-pressed", String(o.chosen));
    this.table.table.hidden = !o.tables;
    if (o.tables) this.table.show(b, alarms, o.now);
  }

  private layOut(b: Berth): void {
    this.frame = b.frame;
    text(this.ship, b.frame.ship);
    const n = b.frame.lines.length;
    this.bed.style.setProperty("--lines", String(n));
    for (const e of [this.lines, this.groups]) e.style.gridTemplateColumns = `repeat(${n}, minmax(0, 1fr))`;
    this.cells = b.frame.lines.map((line) => {
      const id = el("span", {}, line.id);
      const value = el("b");
      return { id, share: value, node: el("li", {}, id, value) };
    });
    inOrder(this.lines, this.cells.map((c) => c.node));
  }

  private figures(b: Berth, cut: boolean, leftOut: ReadonlySet<string>): void {
    b.frame.lines.forEach((line, i) => {
      const cell = this.cells[i];
      if (!cell) return;
      const l = loadOf(b, line);
      const s = share(line, l);
      const flag = this.flags.get(line.id);
      text(cell.share, s === undefined ? say("mooring.none") : number(100 * s));
      attribute(cell.node, "class", [cut || isOld(b, l) ? "old" : "", s !== undefined && s >= b.frame.near ? "near" : "", s !== undefined && s >= 1 ? "over" : "", s !== undefined && s >= 0.995 ? "wide" : "", flag ? `p-${flag}` : ""].join(" ").trim() || undefined);
    });
    const all = groups(b, leftOut);
    if (this.groups.childElementCount !== all.length) {
      this.groups.replaceChildren(...all.map((g) => {
        const li = el("li");
        li.style.gridColumn = `span ${g.lines.length}`;
        return li;
      }));
    }
    all.forEach((g, i) => {
      const li = this.groups.children[i];
      if (!li) return;
      const key = `mooring.short.${g.name}`;
      const off = g.uneven !== undefined && g.uneven >= b.frame.uneven;
      text(li, (has(key) ? say(key) : g.name) + (off && g.uneven ? ` ×${g.uneven < 10 ? number(g.uneven, 1) : "10+"}` : ""));
      attribute(li, "class", off ? "uneven" : undefined);
    });
  }

  // stateOf says how many alarms are active, or that the berth is not live.
  private stateOf(b: Berth, active: readonly Alarm[], now: number): void {
    const late = b.now.live ? behind(b) : undefined;
    const dead = late !== undefined ? say("mooring.behind", { age: span(late) }) : b.now.live ? "" : b.now.at === undefined ? say("terminal.never") : say("terminal.not-live", { age: span(now - b.now.at) });
    const first = worst(active);
    const waiting = active.filter(calls).length;
    const drawn = JSON.stringify([dead, first?.priority, active.length, waiting, moving(b.now)]);
    if (drawn === this.drawn) return;
    this.drawn = drawn;
    const children: Child[] = [];
    if (dead !== "") children.push(el("strong", { class: "dead" }, dead), " ");
    else if (moving(b.now)) children.push(el("span", { class: "hands" }, say("terminal.no-watch")), " ");
    if (first) {
      children.push(el("span", { class: `flag p-${first.priority}` }, shape(first.priority, waiting === 0), " ", count("terminal.alarms", active.length)));
    }
    this.state.replaceChildren(...nodes(...children));
  }

  // factsOf says what is coming: a limit within reach, what hangs on one line; and
  // the wind where there is nothing of that.
  private factsOf(b: Berth, atFault: ReadonlySet<string>): void {
    const soonest = greatest(b, atFault, (line, l) => { const m = toLimit(line, l); return m === undefined || m > soon ? undefined : -m; });
    const fastest = greatest(b, atFault, (line, l) => (toLimit(line, l) === undefined ? undefined : l.rate));
    const loss = b.now.live && (b.loss.adrift || (b.loss.share ?? 0) >= b.frame.near);
    const wind = b.now.live && b.now.wind !== undefined;
    text(this.coming, soonest ? say("terminal.to-limit", { line: soonest.line.id, time: span(-soonest.value * 60_000) })
      : fastest ? say("terminal.rises", { line: fastest.line.id, load: load(fastest.value) }) : "");
    text(this.beside, loss ? lossOf(b) : wind ? windOf(b) : "");
    attribute(this.coming, "class", soonest ? "soon" : undefined);
    attribute(this.beside, "class", loss ? "soon" : undefined);
  }
}

// windOf writes the wind.
export function windOf(b: Berth): string {
  return b.now.wind === undefined ? say("mooring.none") : wind(b.now.wind, b.now.from);
}

// lossOf says what the loss of the one line would do that matters most.
export function lossOf(b: Berth): string {
  const lost = (b.loss.lost ?? []).join(", ");
  if (b.loss.adrift || b.loss.line === undefined) return say("terminal.loss-adrift", { lost });
  return say("terminal.loss", { lost, line: b.loss.line, share: percent(b.loss.share ?? 0) });
}

// flagsOf gives the priority of the worst alarm of each line that has one.
function flagsOf(b: Berth, alarms: readonly Alarm[]): ReadonlyMap<string, Priority> {
  return new Map(b.frame.lines.flatMap((line) => {
    const of = alarms.filter((a) => concerns(a, line)).map((a) => a.priority);
    const first = priorities.find((p) => of.includes(p));
    return first === undefined ? [] : [[line.id, first] as const];
  }));
}
