// The top of the deck page: is anything wrong, how high is the highest line, is
// all of it live. The alarms follow at once; wind and water stand below them.
import { attribute, el, text } from "../lib/dom";
import { behind, faulty, greatest, isActive, moving, share, watchOf } from "../lib/figures";
import type { Live } from "../lib/live";
import { shape } from "../lib/shapes";
import { span } from "../lib/time";
import { load, wind } from "../lib/units";
import { condition, count, number, percent, place, say } from "../lib/words";
import type { Berth } from "../lib/wire";
import { present, waiting, type Part, type Which } from "./part";

export class Summary implements Part {
  private readonly mark = el("span", { class: "mark" });
  private readonly verdict = el("p", { class: "verdict" });
  private readonly more = el("p", { class: "more" });
  private readonly stale = el("p", { class: "stale", hidden: true });
  readonly facts = el("p", { class: "facts" });
  private readonly ship = el("p", { class: "ship" });
  private readonly band = el("div", { class: "band" }, this.mark, el("div", { role: "status" }, this.verdict, this.more));
  readonly root: Element;

  constructor(private readonly live: Live, private readonly berth: Which) {
    this.root = el("section", { class: "summary", "aria-label": say("deck.summary") }, this.ship, this.stale, this.band);
  }

  draw(): void {
    const name = this.berth();
    const b = name === undefined ? undefined : this.live.picture.berths.get(name);
    if (!b) return;
    text(this.ship, say("deck.at", { ship: b.frame.ship, berth: b.name }));
    this.drawAge(b);
    this.drawVerdict(b);
    text(this.facts, this.about(b));
  }

  // drawAge says that figures are old and how old.
  private drawAge(b: Berth): void {
    const quiet = this.live.link === "cut" ? this.live.quiet() : b.now.at === undefined ? undefined : this.live.now() - b.now.at;
    const isOld = !this.live.hears(b);
    this.root.classList.toggle("old", isOld);
    const late = behind(b);
    this.stale.hidden = !isOld && late === undefined;
    const says = [isOld && (quiet === undefined ? say("deck.never") : say("deck.not-live", { age: span(quiet) })), late !== undefined && say("mooring.behind", { age: span(late) })];
    text(this.stale, says.filter(Boolean).join(" "));
  }

  private drawVerdict(b: Berth): void {
    const all = present(this.live, b.name);
    const worst = all.find(waiting) ?? all[0];
    attribute(this.band, "class", `band ${worst ? `p-${worst.priority}${waiting(worst) && isActive(worst) ? " waiting" : ""}` : "fine"}`);
    if (!worst) {
      if (this.mark.firstElementChild) this.mark.firstElementChild.remove();
      const isOld = !this.live.hears(b);
      text(this.verdict, say(isOld ? "deck.not-known" : b.now.lies === "moved" ? "deck.lines-moved" : moving(b.now) ? "deck.not-watched" : "deck.no-alarm"));
      text(this.more, isOld ? "" : this.highest(b));
      return;
    }
    if (this.mark.dataset["of"] !== worst.priority || !this.mark.firstElementChild) {
      this.mark.dataset["of"] = worst.priority;
      this.mark.replaceChildren(shape(worst.priority));
    }
    const where = place(worst.line, worst.group, worst.source);
    text(this.verdict, `${isActive(worst) ? "" : `${say("deck.over")}: `}${condition(worst.condition)}${where && `: ${where}`}`);
    text(this.more, all.length > 1 ? count("deck.others", all.length - 1) : this.highest(b));
  }

  // highest names the line with the highest share of its working load limit.
  private highest(b: Berth): string {
    const most = greatest(b, faulty(this.live.picture.alarms.list, b.name), share);
    if (!most || this.live.link === "cut") return "";
    return say("deck.highest", { line: most.line.id, load: load(most.load.kN ?? 0), share: percent(most.value) });
  }

  private about(b: Berth): string {
    const n = b.now, out: string[] = [];
    if (n.wind !== undefined) out.push(wind(n.wind, n.from));
    if (n.level !== undefined) out.push(say("deck.level", { level: say("mooring.metre", { n: number(n.level, 1) }) }));
    // The verdict says it where nothing is present.
    if (moving(n) ? present(this.live, b.name).length > 0 : n.watch === false) out.push(say(watchOf(n)));
    return out.join(" · ");
  }
}
