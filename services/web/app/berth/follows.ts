// What follows from a mooring as it is: which line lost brings which other to its
// limit, which winch to work, and the hours ahead. The server reckons it; this asks,
// and shows the answers for as long as they are of now.
import type { Geometry } from "../drawing/plan";
import { onWidth } from "../drawing/width";
import { el, text } from "../lib/dom";
import { isActive } from "../lib/figures";
import type { Live } from "../lib/live";
import { count, listed, say, type Key, type Stem } from "../lib/words";
import { ahead } from "./ahead";
import { assess, minute, type Assessment } from "./assess";
import { doubt, leftAlone, losses, tendingAdvice } from "./losses";
import { doubted } from "./now";

const nowEvery = 5_000; // ms
const laterEvery = 60_000;
const hours = 24;

export class Follows {
  readonly losses: HTMLElement;
  readonly advice: HTMLElement;
  readonly ahead: HTMLElement;
  now: Assessment | undefined;
  private later: Assessment | undefined;
  private geometry: Geometry | undefined;
  private all = false; // losses, not only the worst
  private asking = false;
  private wereGone = "";
  private wasLive = false;
  private readonly lossPart = el("div");
  private readonly advicePart = el("div");
  private readonly aheadPart = el("div", { class: "ahead" });
  private readonly basis = el("p", { class: "small" });

  // changed is told of each answer.
  constructor(private readonly live: Live, private readonly berth: string, private readonly changed: () => void) {
    this.losses = panel("berth.losses", "loss", this.lossPart, this.basis, el("p", { class: "small caution" }, say("berth.estimate")));
    this.advice = panel("berth.advice", "advice", this.advicePart, el("p", { class: "small caution" }, say("berth.advice-caution")));
    this.ahead = panel("berth.ahead", "hours-ahead", this.aheadPart);
    live.subscribe((c) => this.follow(c.alarms));
    setInterval(() => void this.askNow(), nowEvery);
    setInterval(() => void this.askLater(), laterEvery);
    document.addEventListener("visibilitychange", () => void this.askNow());
    onWidth(this.aheadPart, () => this.drawAhead());
  }

  // plan asks anew, of another mooring.
  plan(g: Geometry): void {
    this.geometry = g;
    this.forget();
    void this.askNow();
    void this.askLater();
  }

  draw(): void {
    const g = this.geometry;
    const a = this.now;
    if (!g) return;
    text(this.basis, a?.converged ? doubt(g, a, this.gone().length) : "");
    if (!a?.converged) {
      this.lossPart.replaceChildren(a ? el("p", { class: "bad" }, say("berth.no-rest")) : nothing());
      this.advicePart.replaceChildren(nothing());
    } else {
      const left = { ...a, losses: a.losses.filter((l) => !l.lost.some((id) => this.gone().some((p) => p.line === id))) };
      const held = this.lossPart.contains(document.activeElement); // its one button, anew
      this.lossPart.replaceChildren(...this.notes(a, a.loadsOverSeconds), ...losses(g, left, this.all, () => { this.all = !this.all; this.draw(); }));
      if (held) this.lossPart.querySelector("button")?.focus();
      this.advicePart.replaceChildren(...this.notes(a, minute), ...this.slipped(), ...leftAlone(a), ...tendingAdvice(g, a, this.gone().length > 0));
    }
    this.drawAhead();
  }

  private drawAhead(): void {
    const w = Math.floor(this.aheadPart.clientWidth);
    const a = this.later;
    if (!this.geometry || w === 0) return;
    const em = parseFloat(getComputedStyle(this.aheadPart).fontSize);
    this.aheadPart.replaceChildren(...(a?.converged ? [...this.notes(a, minute), ...ahead(this.geometry, a, this.live.now(), w, em)] : [nothing()]));
  }

  // follow asks anew when the loads come back or an alarm tells of another mooring,
  // and lets go of what was reckoned when nothing is heard any more.
  private follow(alarms: boolean): void {
    const isLive = this.live.link !== "cut" && (this.live.picture.berths.get(this.berth)?.now.live ?? false);
    const back = isLive && !this.wasLive;
    if (!isLive && this.wasLive) this.forget();
    const gone = this.gone().map((l) => l.line).join();
    if (back || alarms) void this.askNow();
    if (back || gone !== this.wereGone) void this.askLater();
    this.wasLive = isLive;
    this.wereGone = gone;
  }

  private forget(): void {
    this.now = this.later = undefined;
    this.draw();
  }

  private async askNow(): Promise<void> {
    if (document.hidden || this.asking || !this.geometry) return;
    this.asking = true;
    this.now = await assess(this.berth, { tending: "true" });
    this.asking = false;
    this.draw();
    this.changed();
  }

  private async askLater(): Promise<void> {
    if (document.hidden || !this.geometry) return;
    this.later = await assess(this.berth, { hours: String(hours) });
    this.drawAhead();
  }

  // gone are the lines that have parted, as far as anybody has told, and the first of
  // those one of which may have: what is reckoned is without them.
  private gone(): { line: string; sure: boolean; at: number }[] {
    const all = this.live.picture.alarms.list;
    return all.filter((a) => a.berth === this.berth && isActive(a)).flatMap((a) => {
      const sure = a.condition === "line-parted";
      const line = sure ? a.line : this.geometry && doubted(this.geometry, a, all)[0];
      return line === undefined ? [] : [{ line, sure, at: a.recorded }];
    });
  }

  // slipped says which lines' brakes are to be looked at before a winch is worked.
  private slipped(): HTMLElement[] {
    const all = this.live.picture.alarms.list.filter((a) => a.berth === this.berth && isActive(a) && a.condition === "brake-slip");
    const lines = all.flatMap((a) => a.line ?? []);
    const lately = all.some((a) => this.live.now() - a.recorded < minute * 1000) ? ` ${say("berth.slipped-lately")}` : "";
    return lines.length === 0 ? [] : [el("p", { class: "late" }, count("berth.slipped-note", lines.length, { lines: listed(lines) }), lately)];
  }

  // notes say why what is reckoned, of loads over so many seconds, may not be of the
  // mooring as it is.
  private notes(a: Assessment, over: number): HTMLElement[] {
    const gone = this.gone();
    const lately = gone.some((l) => this.live.now() - l.at < over * 1000) ? ` ${say("berth.parted-lately")}` : "";
    const lines = (sure: boolean): string[] => gone.filter((l) => l.sure === sure).map((l) => l.line);
    const note = (stem: Stem, of: string[]): HTMLElement[] => (of.length === 0 ? [] : [el("p", { class: "late" }, count(stem, of.length, { lines: listed(of) }), lately)]);
    return [
      ...(a.measuredLines === 0 ? [el("p", { class: "late" }, say("berth.unmeasured"))] : []),
      ...note("berth.parted-note", lines(true)), ...note("berth.doubted-note", lines(false)),
    ];
  }
}

function nothing(): HTMLElement { return el("p", {}, say("berth.nothing-reckoned")); }

// panel is a titled part of the page.
export function panel(title: Key, cls: string, ...parts: HTMLElement[]): HTMLElement {
  const id = `panel-${cls}`;
  return el("section", { class: `panel ${cls}`, "aria-labelledby": id }, el("h2", { id }, say(title)), ...parts);
}
