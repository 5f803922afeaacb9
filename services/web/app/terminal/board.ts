// All berths, worst first. What is well keeps its place: cards do not change
// places for a few per cent.
import { el, inOrder } from "../lib/dom";
import { faulty, greatest, isActive, share } from "../lib/figures";
import type { Change, Live } from "../lib/live";
import { onSettings } from "../lib/settings";
import { say } from "../lib/words";
import type { Alarm, Berth } from "../lib/wire";
import { Card } from "./card";

const step = 0.2; // of the limit, between two ranks of berths that are well
const slack = 0.05; // that a berth has to be past a step to change its rank
const least = 17; // width of a card, rem
const aspect = 2; // of a card
const fewBerths = 2; // up to which each shows its lines as a table

export class Board {
  readonly root: HTMLElement;
  chosen: string | undefined;
  private readonly list = el("ol", { class: "board" });
  private readonly none = el("p", { class: "none" }, say("terminal.no-berths"));
  private readonly cards = new Map<string, Card>();
  private readonly ranks = new Map<string, number>(); // of the highest load
  private byBerth = new Map<string, Alarm[]>();
  private readonly places = new Map<string, number>(); // of the worst alarm in the list
  private order: string[] = [];

  constructor(private readonly live: Live, private readonly onChoose: (name: string | undefined) => void) {
    this.root = el("section", { class: "berths", "aria-labelledby": "berths-title" }, el("h2", { id: "berths-title", class: "unseen" }, say("terminal.berths")), this.list, this.none);
    this.root.addEventListener("keydown", (e) => this.key(e));
    live.subscribe((c) => this.draw(c));
    live.eachSecond(() => this.draw({ names: false, alarms: false, link: false, berths: this.asleep() }));
    onSettings(() => this.all());
    new ResizeObserver(() => this.layOut()).observe(this.root);
    this.all();
  }

  // choose lets one berth stand out, or none again.
  choose(name: string | undefined): void {
    this.chosen = name === this.chosen ? undefined : name;
    this.onChoose(this.chosen);
    this.all();
  }

  private all(): void { this.draw({ names: true, alarms: true, link: true, berths: new Set(this.live.picture.names) }); }

  // asleep are the berths whose ages go on though nothing comes in.
  private asleep(): Set<string> {
    return new Set(this.live.picture.names.filter((n) => !this.live.picture.berths.get(n)?.now.live));
  }

  private draw(c: Change): void {
    const p = this.live.picture;
    if (c.alarms || c.names) this.sortAlarms();
    for (const name of [...this.cards.keys()]) if (!p.berths.has(name)) this.cards.delete(name);
    const shown = c.names || c.alarms || c.link ? new Set(p.names) : c.berths;
    for (const name of shown) {
      const b = p.berths.get(name);
      if (!b) continue;
      let card = this.cards.get(name);
      if (!card) this.cards.set(name, (card = new Card(name, (n) => this.choose(n))));
      card.show(b, this.byBerth.get(name) ?? [], {
        now: this.live.now(), cut: this.live.link === "cut", chosen: name === this.chosen, tables: p.names.length <= fewBerths, flagged: c.alarms || c.names,
      });
    }
    this.arrange(shown);
  }

  private sortAlarms(): void {
    this.byBerth = new Map();
    this.places.clear();
    for (const [i, a] of this.live.picture.alarms.list.entries()) {
      if (a.berth === undefined) continue;
      if (isActive(a) && !this.places.has(a.berth)) this.places.set(a.berth, i);
      const of = this.byBerth.get(a.berth);
      if (of) of.push(a);
      else this.byBerth.set(a.berth, [a]);
    }
  }

  private arrange(changed: ReadonlySet<string>): void {
    const p = this.live.picture;
    for (const name of changed) {
      const b = p.berths.get(name);
      if (b) this.ranks.set(name, this.rank(b));
    }
    const key = new Map(p.names.map((n) => [n, (this.places.get(n) ?? p.alarms.list.length) * 100 + (p.berths.get(n)?.now.live ? 0 : -50) - (this.ranks.get(n) ?? 0)]));
    const order = [...p.names].sort((a, b) => (key.get(a) ?? 0) - (key.get(b) ?? 0) || a.localeCompare(b));
    const same = order.length === this.order.length && order.every((n, i) => n === this.order[i]) && this.list.childElementCount === order.length;
    if (same) return;
    this.order = order;
    this.list.dataset["few"] = String(order.length <= fewBerths);
    inOrder(this.list, order.map((n) => this.cards.get(n)?.node).filter((n): n is HTMLElement => n !== undefined));
    this.none.hidden = order.length > 0;
    this.layOut();
  }

  // layOut chooses how many stand side by side so that all fit on the screen, each
  // about twice as wide as high.
  private layOut(): void {
    const { clientWidth: w, clientHeight: h } = this.root;
    const n = this.order.length;
    const most = Math.max(1, Math.floor(w / (least * parseFloat(getComputedStyle(document.documentElement).fontSize))));
    let best = 1;
    let bestCost = Infinity;
    for (let columns = 1; columns <= Math.min(most, n); columns++) {
      const rows = Math.ceil(n / columns);
      const cost = Math.abs(Math.log(w / columns / (h / rows) / aspect)) + (columns * rows - n) / n;
      if (cost < bestCost) [best, bestCost] = [columns, cost];
    }
    this.list.style.gridTemplateColumns = `repeat(${best}, minmax(0, 1fr))`;
  }

  // rank is the step that the berth's highest load is at.
  private rank(b: Berth): number {
    const high = greatest(b, faulty(this.byBerth.get(b.name) ?? [], b.name), share)?.value ?? 0;
    const was = this.ranks.get(b.name) ?? -1;
    const now = Math.floor(high / step);
    if (now > was) return Math.floor((high - (was < 0 ? 0 : slack)) / step);
    return now < was && high < was * step - slack ? now : was;
  }

  private key(e: KeyboardEvent): void {
    if (e.ctrlKey || e.altKey || e.metaKey) return;
    const at = this.order.findIndex((n) => this.cards.get(n)?.node.contains(document.activeElement));
    if (at < 0) return;
    const columns = getComputedStyle(this.list).gridTemplateColumns.split(" ").length;
    const by: Record<string, number> = { ArrowRight: 1, ArrowLeft: -1, ArrowDown: columns, ArrowUp: -columns };
    const step = by[e.key];
    if (step === undefined) return;
    this.cards.get(this.order[at + step] ?? "")?.focus();
    e.preventDefault();
  }
}
