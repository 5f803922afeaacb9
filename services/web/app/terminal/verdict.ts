// The verdict: the one thing that matters most now, and what to do about it; beside
// it the state of the watch itself.
import { attribute, el, text } from "../lib/dom";
import { figures, whatToDo, where } from "../lib/alarmlist";
import { behind, calls, faulty, greatest, isActive, pins, share } from "../lib/figures";
import type { Live } from "../lib/live";
import { onSettings } from "../lib/settings";
import { shape } from "../lib/shapes";
import { span } from "../lib/time";
import { condition, count, percent, say } from "../lib/words";
import type { Alarm, Priority } from "../lib/wire";

export class Verdict {
  readonly root: HTMLElement;
  private readonly mark = el("span", { class: "mark", "aria-hidden": "true" });
  private readonly what = el("p", { class: "what" });
  private readonly next = el("p", { class: "next" });
  private readonly tiles = { live: tile("terminal.tile.live"), pins: tile("terminal.tile.pins"), age: tile("terminal.tile.age"), waiting: tile("terminal.tile.waiting") };
  private shown = "";

  constructor(private readonly live: Live) {
    this.root = el("section", { class: "verdict", "aria-label": say("terminal.verdict") },
      this.mark, el("div", { class: "says", role: "status" }, this.what, this.next),
      el("dl", { class: "tiles" }, ...Object.values(this.tiles).map((t) => t.node)));
    live.subscribe(() => this.draw());
    live.eachSecond(() => this.draw());
    onSettings(() => this.draw());
    this.draw();
  }

  private draw(): void {
    const p = this.live.picture;
    const active = p.alarms.list.filter(isActive);
    const returned = p.alarms.list.filter((a) => a.state === "returned-unacknowledged").length + (p.alarms.more_returned ?? 0);
    this.drawTiles(active, returned);
    const first = active[0];
    if (this.live.link === "cut") return this.say("dead", undefined, false, say("terminal.cut"), say("terminal.cut-do"));
    if (first) {
      const what = [[condition(first.condition), where(first)].join(" · "), others(active.slice(1))].filter(Boolean).join(" ");
      return this.say(first.priority, first.priority, !calls(first), what, whatToDo(first.condition) + figures(first));
    }
    if (returned > 0) return this.say("look", undefined, false, say("terminal.no-alarms"), count("terminal.returned", returned));
    return this.say("well", undefined, false, say("terminal.no-alarms"), this.nearest());
  }

  // nearest says which line is nearest its limit: that nothing alarms is not that
  // nothing is to be watched.
  private nearest(): string {
    let best: { berth: string; line: string; value: number } | undefined;
    for (const b of this.live.picture.berths.values()) {
      const g = greatest(b, faulty(this.live.picture.alarms.list, b.name), share);
      if (g && (!best || g.value > best.value)) best = { berth: b.name, line: g.line.id, value: g.value };
    }
    return best ? say("terminal.nearest", { line: best.line, berth: best.berth, share: percent(best.value) }) : "";
  }

  private say(state: string, priority: Priority | undefined, hollow: boolean, what: string, next: string): void {
    text(this.what, what);
    text(this.next, next);
    const shown = `${state} ${hollow}`;
    if (shown === this.shown) return;
    this.shown = shown;
    attribute(this.root, "class", `verdict v-${state}${hollow ? " taken" : ""}`);
    this.mark.replaceChildren(...(priority ? [shape(priority, hollow)] : []));
  }

  private drawTiles(active: readonly Alarm[], returned: number): void {
    const p = this.live.picture;
    const now = this.live.now();
    let liveBerths = 0;
    let good = 0;
    let all = 0;
    let oldest: number | undefined;
    let unheard = false; // of some berth nothing, not even what is old
    for (const b of p.berths.values()) {
      if (b.now.live) liveBerths++;
      const of = pins(b, faulty(p.alarms.list, b.name));
      good += of.good;
      all += of.all;
      if (b.now.at === undefined) unheard = true;
      else oldest = Math.max(oldest ?? 0, now - b.now.at + (behind(b) ?? 0));
    }
    const cut = this.live.link === "cut";
    const waiting = active.filter((a) => a.state === "active-unacknowledged").length + returned;
    set(this.tiles.live, say("terminal.of", { n: cut ? 0 : liveBerths, of: p.names.length }), cut || liveBerths < p.names.length);
    set(this.tiles.pins, say("terminal.of", { n: cut ? 0 : good, of: all }), cut || good < all);
    set(this.tiles.age, oldest === undefined || unheard ? say("mooring.none") : span(oldest), cut || unheard || (oldest ?? 0) > 10_000);
    set(this.tiles.waiting, say("terminal.of", { n: waiting, of: active.length + returned }), waiting > 0);
  }
}

// others counts the alarms beside the first, emergencies by that name.
function others(rest: readonly Alarm[]): string {
  const grave = rest.filter((a) => a.priority === "emergency").length;
  if (rest.length === 0) return "";
  if (grave === 0) return count("terminal.others", rest.length);
  return grave === rest.length ? count("terminal.emergencies", grave) : count("terminal.of-others", grave, { others: rest.length });
}

interface Tile { node: HTMLElement; value: HTMLElement }

function tile(key: "terminal.tile.live" | "terminal.tile.pins" | "terminal.tile.age" | "terminal.tile.waiting"): Tile {
  const value = el("dd");
  return { value, node: el("div", {}, el("dt", {}, say(key)), value) };
}

function set(t: Tile, value: string, off: boolean): void {
  text(t.value, value);
  attribute(t.node, "class", off ? "off" : undefined);
}
