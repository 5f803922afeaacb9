// The list of alarms, worst first. One is chosen and laid open: what is wrong,
// what to do, and the deeds. Keys work while the list has the focus.
import "./alarmlist.css";
import { account } from "./account";
import { ask } from "./deeddialog";
import { deedName, deeds, given, inPlace, may, mayAcknowledge, sideName, withheld, type Undone } from "./deeds";
import { el, inOrder, nodes } from "./dom";
import { isActive, toldLate } from "./figures";
import type { Live } from "./live";
import { onSettings, settings } from "./settings";
import { setup } from "./setup";
import { shape } from "./shapes";
import { short, span, stamp } from "./time";
import { suppressed, under } from "./under";
import { measure } from "./units";
import { condition, count, has, place, say } from "./words";
import type { Alarm, Hold, Side } from "./wire";

interface Item {
  key: string;
  alarm?: Alarm;
  under?: Alarm[]; // suppressed under it
  hold?: Hold;
}

interface Row { item: Item; node: HTMLLIElement; drawn: string; age: HTMLElement | undefined }

type Part = "active" | "returned" | "quiet" | "over";
const parts: readonly Part[] = ["active", "returned", "quiet", "over"];

export class AlarmList {
  readonly root: HTMLElement;
  // berth, where set, is whose alarms are listed, beside the server's own.
  private berth: string | undefined;
  private readonly title = el("h2", { id: "alarms-title" });
  private readonly more = el("p", { class: "small" });
  private readonly keys = el("p", { class: "small keys" }, say("alarm.keys"));
  private readonly failed = el("p", { role: "alert", class: "failed" });
  private readonly lists = new Map<Part, { box: HTMLElement; list: HTMLOListElement; head: HTMLElement }>();
  private readonly rows = new Map<string, Row>();
  private order: Row[] = [];
  private chosen = "";
  private picked = false; // by a person, who is still at it; else the worst is laid open

  constructor(private readonly live: Live, private readonly heading: (active: number, waiting: number) => string) {
    this.root = el("section", { class: "alarms", "aria-labelledby": "alarms-title" }, this.title, this.failed);
    for (const p of parts) {
      const head = el("h3", { id: `alarms-${p}` });
      const list = el("ol", { "aria-labelledby": `alarms-${p}` });
      const box = el("div", { class: `part ${p}` }, head, list);
      this.lists.set(p, { box, list, head });
      this.root.append(box);
    }
    this.root.append(this.more, this.keys);
    this.root.addEventListener("keydown", (e) => this.key(e));
    this.root.addEventListener("keyup", (e) => this.letter(e));
    this.root.addEventListener("focusout", (e) => {
      if (e.relatedTarget instanceof Node && !this.root.contains(e.relatedTarget) && !document.querySelector("dialog[open]")) this.picked = false;
    });
    live.subscribe((c) => { if (c.alarms || c.names) this.draw(); });
    live.eachSecond(() => this.ages());
    onSettings(() => this.draw());
    this.draw();
  }

  // only lists the alarms of one berth, or all again.
  only(berth: string | undefined): void {
    this.berth = berth;
    this.draw();
  }

  // focus goes to the chosen alarm.
  focus(): void { this.rows.get(this.chosen)?.node.focus(); }

  // choose lays an alarm open.
  choose(id: string): void {
    this.chosen = id;
    this.picked = true;
    this.draw();
  }

  private draw(): void {
    const { list, holds, more, more_returned: older } = this.live.picture.alarms;
    const ours = <T extends { berth?: string }>(all: readonly T[]): T[] => all.filter((a) => !this.berth || !a.berth || a.berth === this.berth);
    const alarms = ours(list);
    const items: Record<Part, Item[]> = { active: [], returned: [], quiet: [], over: [] };
    for (const a of alarms) {
      const item: Item = { key: a.id, alarm: a, under: under(alarms, a) };
      if (isActive(a)) items.active.push(item);
      else if (a.state === "returned-unacknowledged") items.returned.push(item);
      else if (a.state === "normal") items.over.push(item);
    }
    for (const h of ours(holds)) {
      const alarm = alarms.find((a) => a.held && samePlace(a.held, h));
      const item: Item = { key: `hold ${h.berth ?? ""}/${h.condition ?? ""}/${h.line ?? ""}/${h.group ?? ""}/${h.source ?? ""}`, hold: h };
      if (alarm) item.alarm = alarm;
      items.quiet.push(item);
    }
    const waiting = items.active.filter((i) => i.alarm?.state === "active-unacknowledged").length;
    const title = this.heading(items.active.length, waiting);
    if (this.title.textContent !== title) this.title.textContent = title;
    this.more.textContent = [more ? count("alarm.more", more) : "", older ? count("alarm.more-returned", older) : ""].filter(Boolean).join(" ");
    this.keys.hidden = setup.signed && ![...alarms, ...holds].some((x) => x.may?.length);
    this.place(items);
  }

  private place(items: Record<Part, Item[]>): void {
    const focused = this.root.contains(document.activeElement);
    const at = this.order.findIndex((r) => r.item.key === this.chosen);
    const all = parts.flatMap((p) => items[p]);
    if (!all.some((i) => i.key === this.chosen)) this.picked = false;
    if (!this.picked && focused) this.chosen = all[Math.min(Math.max(at, 0), all.length - 1)]?.key ?? "";
    else if (!this.picked) this.chosen = all[0]?.key ?? "";
    const keys = new Set(all.map((i) => i.key));
    for (const key of [...this.rows.keys()]) if (!keys.has(key)) this.rows.delete(key);
    this.order = [];
    for (const p of parts) {
      const { box, list, head } = this.lists.get(p) ?? { box: this.root, list: el("ol"), head: this.root };
      box.hidden = items[p].length === 0;
      head.textContent = say(`alarm.part.${p}`);
      const rows = items[p].map((i) => this.row(i, p));
      this.order.push(...rows);
      inOrder(list, rows.map((r) => r.node));
    }
    if (focused && !this.root.contains(document.activeElement)) this.focus();
  }

  // row brings one row up to date; it is drawn anew only where it says something
  // else.
  private row(item: Item, part: Part): Row {
    const open = item.key === this.chosen;
    const drawn = JSON.stringify([item, open, part, settings.unit, settings.side]);
    let r = this.rows.get(item.key);
    if (!r) {
      const node = el("li", { tabindex: -1 });
      r = { item, node, drawn: "", age: undefined };
      this.rows.set(item.key, r);
      node.addEventListener("click", () => { if (this.chosen !== item.key) { this.choose(item.key); node.focus({ preventScroll: true }); } });
      node.addEventListener("focus", () => {
        this.picked = true;
        if (this.chosen !== item.key) this.choose(item.key);
      });
    }
    r.item = item;
    if (r.drawn !== drawn) {
      const inside = r.node.contains(document.activeElement) && document.activeElement !== r.node;
      r.drawn = drawn;
      r.node.tabIndex = open ? 0 : -1;
      this.fill(r, part, open);
      if (inside) r.node.focus();
    }
    return r;
  }

  private fill(r: Row, part: Part, open: boolean): void {
    const { alarm: a, hold: h } = r.item;
    const now = this.live.now();
    r.age = undefined;
    if (part === "quiet" && h) {
      r.node.className = open ? "alarm open" : "alarm";
      r.node.replaceChildren(...this.quiet(h, a, open, now));
      return;
    }
    if (!a) return;
    const taken = a.state !== "active-unacknowledged" && a.state !== "returned-unacknowledged";
    r.node.className = `alarm p-${a.priority}${taken ? " taken" : ""}${open ? " open" : ""}${part === "over" ? " over" : ""}`;
    r.age = el("span", { class: "age" });
    r.node.replaceChildren(
      el("p", { class: "what" }, shape(a.priority, taken), el("span", { class: "unseen" }, say(`alarm.priority.${a.priority}`)), el("b", {}, condition(a.condition)), r.age),
      el("p", { class: "where" }, where(a)),
      ...(open ? this.laidOpen(a, r.item.under ?? [], now) : []));
    this.age(r, now);
  }

  private laidOpen(a: Alarm, below: readonly Alarm[], now: number): (Node | string)[] {
    const doIt = whatToDo(a.condition);
    return nodes(
      isActive(a) && doIt !== "" && el("p", { class: "do" }, doIt),
      ...account(a),
      el("p", { class: "small" }, say(`alarm.priority.${a.priority}`), " · ", say(`alarm.state.${a.state}`), " · ", say("alarm.raised"), " ", stamp(a.raised, now), ...(toldLate(a) ? [`, ${say("alarm.told")} `, stamp(a.recorded, now)] : []),
        a.cleared ? `, ${say("alarm.cleared")} ` : null, a.cleared ? stamp(a.cleared, now) : null, a.cleared === undefined ? figures(a) : null),
      below.length > 0 && el("p", { class: "small under" }, suppressed(below)),
      a.level && !a.acks?.length ? el("p", { class: "escalated" }, say("alarm.escalated")) : null,
      ...(a.acks ?? []).map((k) => el("p", { class: "small" }, "✓ ", say("alarm.acknowledged-by", { by: k.by, side: sideName(k.side), time: short(k.at, now) }), k.note ? `: ${k.note}` : null)),
      ...(a.notes ?? []).map((n) => el("p", { class: "small" }, "✎ ", say("alarm.noted-by", { by: n.by, side: sideName(n.side), time: short(n.at, now) }), `: ${n.text}`)),
      this.buttons(a), reason(withheld(a, inPlace(a), deedName)));
  }

  private buttons(a: Alarm): HTMLElement {
    const about = `${condition(a.condition)} ${where(a)}`;
    const box = el("p", { class: "deeds" });
    const add = (label: string, key: string, first: boolean, fn: () => void): void => {
      const b = el("button", { type: "button", class: first ? false : "quiet", "aria-label": `${label}: ${about}`, "aria-keyshortcuts": key }, label, " ", el("kbd", { "aria-hidden": "true" }, key));
      b.addEventListener("click", fn);
      box.append(b);
    };
    mayAcknowledge(a).forEach((side, i) => {
      const only = mayAcknowledge(a).length === 1 && !a.acks?.length;
      const label = only || i === 0 && !a.acks?.length ? say("alarm.acknowledge") : say("alarm.acknowledge-for", { side: sideName(side) });
      if (i === 0) add(label, "A", !a.acks?.length, () => void this.acknowledge(a, side));
    });
    if (may(a, "shelve")) add(say("alarm.shelve"), "S", false, () => void this.shelve(a));
    if (may(a, "out-of-service")) add(say("alarm.out-of-service"), "O", false, () => void this.outOfService(a));
    if (may(a, "note")) add(say("alarm.note"), "N", false, () => void this.note(a));
    if (may(a, "reset")) add(say("alarm.reset"), "R", false, () => void this.reset(a));
    return box;
  }

  private quiet(h: Hold, a: Alarm | undefined, open: boolean, now: number): (Node | string)[] {
    const end = say(h.until ? "alarm.unshelve" : "alarm.back-in-service");
    const name = h.condition ? condition(h.condition) : say("alarm.all-of-line");
    const b = el("button", { type: "button", class: "quiet", "aria-label": `${end}: ${name} ${where(h)}`, "aria-keyshortcuts": "E" }, end, " ", el("kbd", { "aria-hidden": "true" }, "E"));
    b.addEventListener("click", () => void this.endHold(h));
    return nodes(
      el("p", { class: "what" }, el("b", {}, name), a && isHeldActive(a) ? el("strong", { class: "age" }, say("alarm.active-now")) : null),
      el("p", { class: "where" }, where(h), " · ", h.until ? say("alarm.shelved-until", { time: short(h.until, now) }) : say("alarm.out-since", { time: short(h.since, now) })),
      open && el("p", { class: "small" }, say("alarm.held-by", { by: `${h.by}, ${sideName(h.side)}`, reason: h.reason ?? "" })),
      open && given(h, "end-hold") && el("p", { class: "deeds" }, b),
      open && reason(withheld(h, ["end-hold"], () => end)));
  }

  private ages(): void {
    const now = this.live.now();
    for (const r of this.order) this.age(r, now);
  }

  private age(r: Row, now: number): void {
    const a = r.item.alarm;
    if (!a || !r.age) return;
    const text = span(now - (a.returned ?? a.recorded));
    if (r.age.textContent !== text) r.age.textContent = text;
  }

  private key(e: KeyboardEvent): void {
    const at = this.order.findIndex((r) => r.item.key === this.chosen);
    const to: Record<string, number> = { ArrowDown: at + 1, ArrowUp: at - 1, Home: 0, End: this.order.length - 1 };
    const wanted = to[e.key];
    if (wanted === undefined || e.ctrlKey || e.altKey || e.metaKey) return;
    e.preventDefault();
    const r = this.order[Math.min(Math.max(wanted, 0), this.order.length - 1)];
    if (!r) return;
    this.choose(r.item.key);
    r.node.focus();
  }

  // letter does a deed when its key comes up again: what it opens does not get the
  // letter then.
  private letter(e: KeyboardEvent): void {
    if (e.ctrlKey || e.altKey || e.metaKey) return;
    const { alarm: a, hold: h } = this.order.find((r) => r.item.key === this.chosen)?.item ?? {};
    const side = a && mayAcknowledge(a)[0];
    switch (e.key.toLowerCase()) {
      case "a": if (a && side && !h) void this.acknowledge(a, side); break;
      case "n": if (a && !h && may(a, "note")) void this.note(a); break;
      case "s": if (a && !h && may(a, "shelve")) void this.shelve(a); break;
      case "r": if (a && !h && may(a, "reset")) void this.reset(a); break;
      case "o": if (a && !h && may(a, "out-of-service")) void this.outOfService(a); break;
      case "e": if (h && given(h, "end-hold")) void this.endHold(h); break;
    }
  }

  // acknowledge is done at once where the name is known.
  async acknowledge(a: Alarm, side: Side): Promise<void> {
    if (!settings.by) {
      const asked = await ask({ title: say("alarm.acknowledge"), about: `${condition(a.condition)} ${where(a)}`, note: "note" });
      this.focus();
      if (!asked) return;
      this.done(await deeds.acknowledge(a, asked.note, side));
      return;
    }
    this.done(await deeds.acknowledge(a, "", side));
  }

  private async note(a: Alarm): Promise<void> {
    const asked = await ask({ title: say("alarm.note"), about: `${condition(a.condition)} ${where(a)}`, note: "needed" });
    this.focus();
    if (asked) this.done(await deeds.note(a, asked.note));
  }

  private async shelve(a: Alarm): Promise<void> {
    const asked = await ask({ title: say("alarm.shelve"), about: `${condition(a.condition)} ${where(a)}`, note: "reason", shelf: true });
    this.focus();
    if (asked) this.done(await deeds.shelve(a, asked.note, asked.minutes));
  }

  private async reset(a: Alarm): Promise<void> {
    const asked = await ask({ title: say("alarm.reset"), about: `${condition(a.condition)} ${where(a)}. ${say("alarm.reset-about")}`, note: "reason" });
    this.focus();
    if (asked) this.done(await deeds.reset(a, asked.note));
  }

  private async outOfService(a: Alarm): Promise<void> {
    if (!a.berth || !a.line) return;
    const asked = await ask({ title: say("alarm.out-of-service"), about: `${say("alarm.all-of-line")} ${where({ berth: a.berth, line: a.line })}`, note: "reason" });
    this.focus();
    if (asked) this.done(await deeds.outOfService(a.berth, a.line, asked.note));
  }

  private async endHold(h: Hold): Promise<void> {
    const asked = await ask({ title: say(h.until ? "alarm.unshelve" : "alarm.back-in-service"), about: where(h), note: "note" });
    this.focus();
    if (asked) this.done(await deeds.endHold(h, asked.note));
  }

  private done(why: Undone): void { this.failed.textContent = why; }
}

const isHeldActive = (a: Alarm): boolean => a.state === "shelved" || a.state === "out-of-service";

function samePlace(a: Hold, b: Hold): boolean {
  return a.berth === b.berth && a.condition === b.condition && a.line === b.line && a.group === b.group && a.source === b.source;
}

const reason = (text: string): HTMLElement | false => text !== "" && el("p", { class: "small not-given" }, text);

// where says on what and at which berth something is.
export function where(a: { berth?: string; line?: string; group?: string; source?: string }): string {
  return [place(a.line, a.group, a.source), a.berth ?? say("alarm.server")].filter((s) => s !== "").join(" · ");
}

// whatToDo is the first thing to do about a condition; of the watch's own, to look
// after it.
export function whatToDo(name: string): string {
  const key = `alarm.do.${name}`;
  return has(key) ? say(key) : say("alarm.do.watch");
}

// figures writes the number behind an alarm.
export function figures(a: Alarm): string {
  if (a.value === undefined) return "";
  const value = measure(a.value, a.unit);
  const own = `alarm.figure.${a.condition}`;
  if (has(own)) return ` · ${say(own, { value })}`;
  return ` · ${a.limit === undefined ? say("alarm.figure", { value }) : say("alarm.figure-limit", { value, limit: measure(a.limit, a.unit) })}`;
}
