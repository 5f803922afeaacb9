// What is shown: berth, time, lines, unit, what to compare with.
import { el, text } from "../lib/dom";
import { short, zone } from "../lib/time";
import { has, say } from "../lib/words";
import { look, paint, swatch } from "./chart";
import type { Stay } from "./data";
import { periods, type State } from "./state";

export interface Known {
  berths: string[];
  stays: Stay[];
  lines: { id: string; group: string }[];
}

type Change = (s: Partial<State>) => void;

const periodName = (ms: number): string => say(`engineer.period.${ms / 60_000}` as "engineer.period.60");

// local writes a time as an input of dates and times has it.
function local(at: number): string {
  const d = new Date(at - new Date(at).getTimezoneOffset() * 60_000);
  return d.toISOString().slice(0, 16);
}

// option makes the choices of a select, keeping what has the focus.
function options(select: HTMLSelectElement, all: readonly [string, string][], value: string): void {
  const now = JSON.stringify([all, value]);
  if (select.dataset["has"] === now) return;
  select.dataset["has"] = now;
  select.replaceChildren(...all.map(([v, name]) => el("option", { value: v, selected: v === value }, name)));
}

export class Controls {
  private readonly berth = el("select");
  private readonly stay = el("select");
  private readonly beside = el("select");
  private readonly load = el("select");
  private readonly from = el("input", { type: "datetime-local" });
  private readonly to = el("input", { type: "datetime-local" });
  private readonly fromName = el("span");
  private readonly toName = el("span");
  private readonly lasts: HTMLButtonElement[];
  private readonly lineList = el("div", { class: "line-list", role: "group", "aria-label": say("engineer.lines") });
  readonly top: HTMLElement;
  readonly side: HTMLElement;
  private drawn = "";

  constructor(private readonly state: () => State, private readonly known: () => Known, change: Change, deeds: Node[]) {
    const labelled = (name: string, e: HTMLElement): HTMLElement => el("label", {}, el("span", {}, name), e);
    this.lasts = periods.map((p) => {
      const b = el("button", { type: "button", class: "quiet" }, periodName(p));
      b.addEventListener("click", () => change({ last: p }));
      return b;
    });
    const step = (name: string, sign: string, by: number): HTMLElement => {
      const b = el("button", { type: "button", class: "quiet", "aria-label": name, title: name }, sign);
      b.addEventListener("click", () => {
        const s = this.state(), d = (s.to - s.from) * by;
        change({ last: undefined, from: s.from + d, to: s.to + d });
      });
      return b;
    };
    this.berth.addEventListener("change", () => change({ berth: this.berth.value, lines: [], of: "", beside: undefined }));
    this.load.addEventListener("change", () => change({ share: this.load.value === "share" }));
    this.stay.addEventListener("change", () => {
      const s = this.known().stays.find((x) => x.id === this.stay.value);
      if (s) change({ last: undefined, from: Date.parse(s.arrival), to: Date.parse(s.departure ?? s.newest) });
    });
    this.beside.addEventListener("change", () => {
      const v = this.beside.value;
      if (v === "then") return;
      const stay = this.known().stays.find((x) => x.id === v), s = this.state();
      if (v === "before") change({ beside: { berth: s.berth, from: s.from - (s.to - s.from) } });
      else if (v.startsWith("berth ")) change({ beside: { berth: v.slice(6), from: s.from } });
      else change({ beside: stay && { berth: stay.berth, from: Date.parse(stay.arrival) } });
    });
    for (const input of [this.from, this.to]) {
      input.addEventListener("change", () => {
        const from = new Date(this.from.value).getTime(), to = new Date(this.to.value).getTime();
        if (to > from) change({ last: undefined, from, to });
      });
    }
    this.lineList.addEventListener("change", () => {
      const boxes = [...this.lineList.querySelectorAll<HTMLInputElement>("input[data-line]")];
      const chosen = boxes.filter((b) => b.checked).map((b) => b.dataset["line"] ?? "");
      change({ lines: chosen.length === boxes.length ? [] : chosen });
    });
    this.top = el("form", { class: "controls" },
      labelled(say("engineer.berth"), this.berth), labelled(say("engineer.stay"), this.stay),
      el("div", { class: "buttons", role: "group", "aria-label": say("engineer.period") },
        step(say("engineer.earlier"), "◀", -1), ...this.lasts, step(say("engineer.later"), "▶", 1)),
      el("label", {}, this.fromName, this.from), el("label", {}, this.toName, this.to),
      labelled(say("engineer.loads-as"), this.load), labelled(say("engineer.compare"), this.beside),
      el("div", { class: "buttons" }, ...deeds));
    this.top.addEventListener("submit", (e) => e.preventDefault());
    this.side = el("section", { class: "panel lines", "aria-label": say("engineer.lines") }, el("h2", {}, say("engineer.lines")), this.lineList);
  }

  draw(): void {
    const s = this.state(), k = this.known();
    const berths = k.berths.includes(s.berth) || s.berth === "" ? k.berths : [s.berth, ...k.berths];
    options(this.berth, berths.map((b) => [b, b]), s.berth);
    options(this.load, [["load", say("engineer.as-load")], ["share", say("engineer.as-share")]], s.share ? "share" : "load");
    const stayName = (x: Stay): string => say("engineer.stay-of", { ship: x.ship, time: short(Date.parse(x.arrival), 0) });
    const stay = k.stays.find((x) => Date.parse(x.arrival) === s.from && s.last === undefined);
    options(this.stay, [["", say("engineer.any-time")], ...k.stays.map((x): [string, string] => [x.id, stayName(x)])], stay?.id ?? "");
    const with_ = s.beside;
    const other = with_ && k.stays.find((x) => Date.parse(x.arrival) === with_.from);
    const value = !with_ ? "" : with_.berth !== s.berth && with_.from === s.from ? `berth ${with_.berth}`
      : (other?.id ?? (Math.abs(s.from - (s.to - s.from) - with_.from) < 1000 ? "before" : "then"));
    options(this.beside, [["", say("engineer.nothing")], ["before", say("engineer.before")],
      ...(value === "then" ? [["then", say("engineer.another-time")] as [string, string]] : []),
      ...berths.filter((b) => b !== s.berth).map((b): [string, string] => [`berth ${b}`, say("engineer.other-berth", { berth: b })]),
      ...k.stays.map((x): [string, string] => [x.id, stayName(x)])], value);
    if (document.activeElement !== this.from) this.from.value = local(s.from);
    if (document.activeElement !== this.to) this.to.value = local(s.to);
    text(this.fromName, say("engineer.in-zone", { name: say("engineer.from"), zone: zone(s.from) }));
    text(this.toName, say("engineer.in-zone", { name: say("engineer.to"), zone: zone(s.to) }));
    this.lasts.forEach((b, i) => b.setAttribute("aria-pressed", String(s.last === periods[i])));
    this.drawLines(s, k);
  }

  private drawLines(s: State, k: Known): void {
    const drawn = JSON.stringify([s.lines, k.lines, paint("--ink")]);
    if (drawn === this.drawn) return;
    this.drawn = drawn;
    const shown = new Set(s.lines.length ? s.lines : k.lines.map((l) => l.id));
    const parts: Element[] = [];
    let group: string | undefined;
    let box = el("fieldset");
    k.lines.forEach((l, n) => {
      if (l.group !== group) {
        group = l.group;
        const key = `mooring.all.${group}`;
        const all = el("button", { type: "button", class: "quiet", title: say("engineer.only") }, has(key) ? say(key) : group || say("engineer.lines"));
        const members = k.lines.filter((m) => m.group === l.group).map((m) => m.id);
        all.addEventListener("click", () => this.only(members));
        box = el("fieldset", {}, el("legend", {}, all));
        parts.push(box);
      }
      const check = el("input", { type: "checkbox", checked: shown.has(l.id), "data-line": l.id });
      box.append(el("label", {}, check, swatch(look(n)), el("span", {}, say("mooring.line", { line: l.id }))));
    });
    this.lineList.replaceChildren(...(parts.length ? parts : [say("engineer.no-lines")]));
  }

  // only shows the lines of one group.
  private only(lines: string[]): void {
    for (const b of this.lineList.querySelectorAll<HTMLInputElement>("input[data-line]")) b.checked = lines.includes(b.dataset["line"] ?? "");
    this.lineList.dispatchEvent(new Event("change"));
  }
}
