// The alarms of the berth, each with what to do and one button as wide as the
// screen.
import { account } from "../lib/account";
import { ask } from "../lib/deeddialog";
import { deedName, deeds, mayAcknowledge, sideName, withheld } from "../lib/deeds";
import { el, inOrder, text } from "../lib/dom";
import { toldLate } from "../lib/figures";
import type { Live } from "../lib/live";
import { settings } from "../lib/settings";
import { shape } from "../lib/shapes";
import { short, span } from "../lib/time";
import { suppressed, under } from "../lib/under";
import { condition, has, place, say } from "../lib/words";
import type { Alarm } from "../lib/wire";
import { present, side, waiting, type Part, type Which } from "./part";

class Card {
  private readonly about: string;
  private readonly todo: HTMLElement;
  private readonly account = el("div");
  private told: boolean | undefined; // whether account is of an alarm that is over
  private readonly below = el("p", { class: "detail" });
  private readonly age = el("p", { class: "age" });
  private readonly acks = el("ul", { class: "acks" });
  private readonly refusal = el("p", { class: "refusal", role: "alert", hidden: true });
  private readonly notGiven = el("p", { class: "not-given" });
  private readonly button = el("button", { type: "button", class: "acknowledge" });
  readonly root: HTMLElement;

  constructor(private alarm: Alarm) {
    const a = alarm, todo = `alarm.do.${a.condition}`;
    const where = place(a.line, a.group, a.source);
    this.todo = el("p", { class: "do" }, has(todo) && say(todo));
    this.about = `${condition(a.condition)} ${where}`;
    this.root = el("li", { class: `card p-${a.priority}` },
      el("p", { class: "priority" }, shape(a.priority), ` ${say(`alarm.priority.${a.priority}`)}`),
      el("h2", {}, condition(a.condition), where !== "" && el("span", { class: "where" }, where)),
      this.todo,
      this.refusal, this.button, this.notGiven, // before the rest: what is to be touched is not to be looked for
      this.account, this.below, this.age, this.acks);
    this.button.textContent = say("alarm.acknowledge");
    this.button.setAttribute("aria-label", `${say("alarm.acknowledge")}: ${this.about}`);
    this.button.addEventListener("click", () => void this.acknowledge());
  }

  draw(live: Live, a: Alarm): void {
    this.alarm = a;
    const now = live.now();
    const over = a.cleared !== undefined;
    this.todo.hidden = over || this.todo.textContent === "";
    this.root.classList.toggle("over", over);
    if (this.told !== over) this.account.replaceChildren(...account(a)); // each of them is said once
    this.told = over;
    const raised = say(toldLate(a) ? "deck.raised-late" : "deck.raised", { time: short(a.raised, now), age: span(now - a.recorded) });
    const below = under(live.picture.alarms.list, a);
    text(this.below, below.length > 0 ? suppressed(below) : "");
    text(this.age, over ? `${say("deck.over-since", { time: short(a.cleared ?? 0, now), age: span(now - (a.returned ?? a.cleared ?? 0)) })} · ${raised}` : raised);
    inOrder(this.acks, (a.acks ?? []).map((k) =>
      el("li", {}, say("alarm.acknowledged-by", { by: k.by, side: sideName(k.side), time: short(k.at, now) }))));
    this.button.hidden = !waiting(a) || !mayAcknowledge(a).includes(side);
    text(this.notGiven, waiting(a) ? withheld(a, ["acknowledge"], deedName) : "");
    this.notGiven.hidden = this.notGiven.textContent === "";
  }

  private async acknowledge(): Promise<void> {
    // The name goes on record: it is asked for once on a device.
    if (settings.by === "" && !(await ask({ title: say("alarm.acknowledge"), about: this.about, note: "none" }))) return;
    this.button.disabled = true;
    const undone = await deeds.acknowledge(this.alarm, "", side);
    this.button.disabled = false;
    this.refusal.hidden = undone === "";
    text(this.refusal, undone);
  }
}

export class Alarms implements Part {
  private readonly list = el("ul");
  readonly root = el("section", { class: "alarms", "aria-label": say("deck.alarms") }, this.list);
  private readonly cards = new Map<string, Card>();

  constructor(private readonly live: Live, private readonly berth: Which) {}

  draw(): void {
    const all = present(this.live, this.berth());
    const ids = new Set(all.map((a) => a.id));
    for (const id of [...this.cards.keys()]) if (!ids.has(id)) this.cards.delete(id);
    inOrder(this.list, all.map((a) => {
      const card = this.cards.get(a.id) ?? new Card(a);
      this.cards.set(a.id, card);
      card.draw(this.live, a);
      return card.root;
    }));
  }
}
