// The berth that is chosen, in figures, above its alarms.
import { attribute, el, text } from "../lib/dom";
import { watchOf } from "../lib/figures";
import { LineTable } from "../lib/linetable";
import type { Live } from "../lib/live";
import { onSettings } from "../lib/settings";
import { setup } from "../lib/setup";
import { number, say } from "../lib/words";
import type { Berth, Now } from "../lib/wire";
import { lossOf, windOf } from "./card";

export class Chosen {
  readonly root = el("section", { class: "one", hidden: true, "aria-labelledby": "one-title" });
  private name: string | undefined;
  private readonly title = el("h2", { id: "one-title" });
  private readonly facts = el("dl", { class: "facts" });
  private readonly open = el("a", { class: "open-berth" }, say("terminal.open-berth"));
  private table = new LineTable(say("terminal.lines"), true);

  constructor(private readonly live: Live, close: () => void) {
    const button = el("button", { type: "button", class: "quiet" }, say("terminal.all-again"), " ", el("kbd", { "aria-hidden": "true" }, "Esc"));
    button.addEventListener("click", close);
    this.root.append(el("header", {}, this.title, button), this.facts, el("div", { class: "scroll", tabindex: 0, role: "region", "aria-labelledby": "one-title" }, this.table.table), this.open);
    live.subscribe((c) => { if (this.name && (c.alarms || c.names || c.berths.has(this.name))) this.draw(); });
    onSettings(() => this.draw());
  }

  show(name: string | undefined): void {
    this.name = name;
    this.draw();
  }

  private draw(): void {
    const b = this.name === undefined ? undefined : this.live.picture.berths.get(this.name);
    this.root.hidden = !b;
    if (!b) return;
    text(this.title, `${b.name} · ${b.frame.ship}`);
    const page = setup.pages["berth"];
    attribute(this.open, "href", page && page + encodeURIComponent(b.name));
    this.open.hidden = !page;
    const facts = factsOf(b);
    if (this.facts.childElementCount !== facts.length) this.facts.replaceChildren(...facts.map(() => el("div", {}, el("dt"), el("dd"))));
    facts.forEach(([name, value], i) => {
      const [dt, dd] = this.facts.children[i]?.children ?? [];
      if (dt && dd) { text(dt, name); text(dd, value); }
    });
    this.table.show(b, this.live.picture.alarms.list.filter((a) => a.berth === b.name), this.live.now());
  }
}

// factsOf are the figures of the berth itself.
export function factsOf(b: Berth): [string, string][] {
  const n: Now = b.now;
  const metres = (v: number | undefined): string => (v === undefined ? say("mooring.none") : say("mooring.metre", { n: number(v, 2) }));
  const facts: [string, string][] = [
    [say("mooring.watch"), say(watchOf(n))],
    [say("mooring.wind"), windOf(b)],
    [say("mooring.level"), metres(n.level)],
    [say("mooring.draft"), `${metres(n.fwd)} / ${metres(n.aft)}`],
  ];
  if (b.loss.lost) facts.push([say("terminal.one-line"), lossOf(b)]);
  return facts;
}
