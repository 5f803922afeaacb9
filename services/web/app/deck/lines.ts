// Every line as a tile, in the plan's order: its load, what that is of its limit,
// and what is wrong with it in a word.
import { attribute, el, inOrder, svg, text } from "../lib/dom";
import { concerns, marks } from "../lib/figures";
import type { Live } from "../lib/live";
import { shape } from "../lib/shapes";
import { span } from "../lib/time";
import { figure, load, unit } from "../lib/units";
import { condition, has, percent, say } from "../lib/words";
import type { Alarm, Berth, LineFrame, Load } from "../lib/wire";
import { old, type Part, type Which } from "./part";

// barWide is the width of a bar, whose end is MBL.
const barWide = 100;

class Tile {
  private readonly id = el("span", { class: "id" });
  private readonly load = el("span", { class: "load" });
  private readonly unit = el("span", { class: "unit" });
  private readonly share = el("span", { class: "share" });
  private readonly word = el("span", { class: "word" });
  private readonly fill = svg("rect", { class: "fill", height: 8, width: 0 });
  private readonly limit = svg("rect", { class: "limit", y: -3, width: 1.5, height: 14 });
  private readonly bar = svg("svg", { class: "bar", viewBox: `0 -3 ${barWide} 14`, preserveAspectRatio: "none", "aria-hidden": "true" },
    svg("rect", { class: "axis", width: barWide, height: 8 }), this.fill, this.limit);
  readonly root = el("li", { class: "tile" }, this.id, el("span", { class: "figures" }, this.load, " ", this.unit), this.share, this.bar, this.word);

  draw(live: Live, b: Berth, f: LineFrame, alarms: readonly Alarm[]): void {
    const l = b.loads.get(f.id), isOld = old(live, b, l);
    const worst = alarms.find((a) => concerns(a, f));
    text(this.id, f.id);
    attribute(this.root, "class", `tile${isOld ? " old" : ""}${worst ? ` p-${worst.priority}` : ""}`);
    text(this.load, l?.kN === undefined ? say("mooring.none") : figure(l.kN));
    text(this.unit, l?.kN === undefined ? "" : unit());
    text(this.share, l?.kN === undefined ? "" : say("deck.of-limit", { share: percent(l.kN / f.limit) }));
    attribute(this.fill, "width", String(barWide * Math.min(1, Math.max(0, (l?.kN ?? 0) / f.mbl))));
    attribute(this.limit, "x", String(barWide * f.limit / f.mbl));
    this.bar.classList.toggle("over", (l?.kN ?? 0) >= f.limit);
    const words = worst ? condition(worst.condition) : this.state(live, b, f, isOld);
    if (this.word.dataset["says"] !== words + (worst?.priority ?? "")) {
      this.word.dataset["says"] = words + (worst?.priority ?? "");
      this.word.replaceChildren(...(worst ? [shape(worst.priority), ` ${words}`] : [words]));
    }
  }

  // state says what else is to be known of a line without an alarm.
  private state(live: Live, b: Berth, f: LineFrame, isOld: boolean): string {
    const l = b.loads.get(f.id);
    if (!f.pin) return withoutPin(live.hears(b) ? l : undefined);
    if (isOld && l?.at !== undefined) return say("time.ago", { age: span(live.now() - l.at) });
    if (l && l.sensor !== "good") return say(`mooring.sensor.${l.sensor}`);
    if (l?.brake === false) return say("deck.brake-released");
    return "";
  }
}

// withoutPin says of a line without a load pin from which load its parting is told.
function withoutPin(now: Load | undefined): string {
  if (now?.shown !== undefined) return say("deck.no-pin-shown", { load: load(now.shown) });
  return say(now?.hidden ? "deck.no-pin-hidden" : "mooring.sensor.none");
}

export class Lines implements Part {
  readonly root = el("section", { class: "lines", "aria-label": say("deck.lines") });
  private readonly tiles = new Map<string, Tile>();
  private readonly groups = new Map<string, { root: HTMLElement; list: HTMLElement }>();

  constructor(private readonly live: Live, private readonly berth: Which) {}

  draw(): void {
    const name = this.berth();
    const b = name === undefined ? undefined : this.live.picture.berths.get(name);
    if (!b) return;
    const alarms = this.live.picture.alarms.list.filter((a) => a.berth === b.name && marks(a));
    const members = new Map<string, Element[]>();
    for (const f of b.frame.lines) {
      const tile = this.tiles.get(f.id) ?? new Tile();
      this.tiles.set(f.id, tile);
      tile.draw(this.live, b, f, alarms);
      members.set(f.group, [...(members.get(f.group) ?? []), tile.root]);
    }
    inOrder(this.root, [...members].map(([group, tiles]) => {
      const g = this.groups.get(group) ?? this.group(group);
      inOrder(g.list, tiles);
      return g.root;
    }));
  }

  private group(name: string): { root: HTMLElement; list: HTMLElement } {
    const key = `mooring.all.${name}`;
    const list = el("ul");
    const g = { root: el("div", { class: "group" }, el("h2", {}, has(key) ? say(key) : name), list), list };
    this.groups.set(name, g);
    return g;
  }
}
