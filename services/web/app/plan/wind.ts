// What the mooring of the text would bear in a wind that is forecast.
import { reached, type Assessment } from "../berth/assess";
import type { Geometry } from "../drawing/plan";
import { el, text } from "../lib/dom";
import { figure, load, unit, wind } from "../lib/units";
import { percent, say } from "../lib/words";
import { ask, plans } from "./desk";

export class WindPanel {
  readonly element: HTMLElement;
  private geometry: Geometry | undefined;
  private asked = 0; // an answer about an earlier text is passed over
  private readonly speed = field();
  private readonly from = field();
  private readonly go = el("button", { type: "submit", disabled: true }, say("plan.wind-ask"));
  private readonly refused = el("p", { class: "bad", role: "alert", lang: "en-GB" });
  private readonly answer = el("div", { role: "status" });

  constructor(private readonly plan: () => string) {
    const form = el("form", { class: "wind-form" },
      el("label", {}, el("span", {}, say("plan.wind-speed")), this.speed),
      el("label", {}, el("span", {}, say("plan.wind-from")), this.from), this.go);
    form.addEventListener("submit", (e) => { e.preventDefault(); void this.reckon(); });
    this.element = el("div", {}, form, this.refused, this.answer);
  }

  // of is the plan that the text is now, or none: what was reckoned before is of another.
  of(g: Geometry | null): void {
    this.geometry = g ?? undefined;
    this.go.disabled = !g;
    this.asked++;
    text(this.refused, "");
    this.answer.replaceChildren();
  }

  // reckon asks the server, which says what is wrong with a wind.
  private async reckon(): Promise<void> {
    const g = this.geometry, mine = ++this.asked;
    const number = (e: HTMLInputElement): string => e.value.trim().replace(",", ".");
    const got = await ask(() => plans.assess(this.plan(), number(this.speed), number(this.from)));
    if (!g || mine !== this.asked) return;
    text(this.refused, got.error ?? "");
    this.answer.replaceChildren(...(got.value ? told(g, got.value, wind(Number(number(this.speed)), Number(number(this.from)))) : []));
  }
}

const field = (): HTMLInputElement => el("input", { required: true, inputmode: "decimal", autocomplete: "off", maxlength: 8 });

function told(g: Geometry, a: Assessment, of: string): Element[] {
  const basis = el("p", { class: "small" }, say("plan.wind-basis"));
  if (!a.converged) return [el("p", { class: "bad" }, say("plan.wind-not-held", { wind: of, share: percent(a.heldShare) })), basis];
  const limit = (line: string): number => g.lines.find((l) => l.id === line)?.working_load_kN ?? Infinity;
  const rows = a.lines.map((l) => {
    const over = reached(l.limit, "LOAD_LIMIT_WORKING_LOAD");
    return el("tr", { class: over && "bad" },
      el("th", { scope: "row" }, l.line), el("td", { class: "n" }, figure(l.tensionKn), el("span", { class: "small" }, ` ${figure(l.lowKn)}–${figure(l.highKn)}`)), el("td", { class: "n" }, percent(l.tensionKn / limit(l.line))),
      el("td", {}, over ? say("drawing.form.over") : reached(l.limit, "LOAD_LIMIT_APPROACHING") ? say("drawing.form.near") : ""));
  });
  return [
    el("table", {}, el("caption", {}, say("plan.wind-caption", { wind: of, unit: unit() })),
      el("thead", {}, el("tr", {}, el("th", { scope: "col" }, say("plan.wind-line")), el("th", { scope: "col", class: "n" }, say("plan.wind-load")), el("th", { scope: "col", class: "n" }, say("plan.wind-share")), el("td", {}))),
      el("tbody", {}, ...rows)),
    loss(a, limit), basis];
}

// loss says what the loss of the one line would do that matters most.
function loss(a: Assessment, limit: (line: string) => number): Element {
  const worst = a.losses[0], then = worst?.worst; // they come worst first
  if (!worst || worst.holds && then && !reached(then.limit, "LOAD_LIMIT_WORKING_LOAD")) return el("p", {}, say("plan.wind-losses-fine"));
  const line = worst.lost.join(", ");
  return el("p", { class: "bad" }, !worst.holds || !then ? say("plan.wind-loss-adrift", { line })
    : say("plan.wind-loss", { line, other: then.line, load: load(then.tensionKn), share: percent(then.tensionKn / limit(then.line)) }));
}
