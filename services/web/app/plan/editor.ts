// A text with numbered lines, in which faults are marked at their place.
import { el } from "../lib/dom";
import { say } from "../lib/words";
import type { Fault } from "./desk";

export class Editor {
  readonly element: HTMLElement;
  onInput: () => void = () => {};
  private readonly area = el("textarea", { spellcheck: "false", autocapitalize: "off", autocomplete: "off", wrap: "off", "aria-label": say("plan.text"), rows: 30 });
  private readonly numbers = el("pre", { class: "numbers", "aria-hidden": "true" });
  private readonly behind = el("pre", { class: "behind", "aria-hidden": "true" });
  private faults: readonly Fault[] = [];

  constructor() {
    this.element = el("div", { class: "editor" }, this.numbers, el("div", { class: "stack" }, this.behind, this.area));
    this.area.addEventListener("input", () => { this.faults = []; this.draw(); this.onInput(); });
    this.area.addEventListener("scroll", () => {
      this.numbers.scrollTop = this.behind.scrollTop = this.area.scrollTop;
      this.behind.scrollLeft = this.area.scrollLeft;
    });
    this.draw();
  }

  get value(): string { return this.area.value; }
  set value(v: string) {
    this.area.value = v.replaceAll("\r\n", "\n");
    this.area.scrollTop = 0;
    this.faults = [];
    this.draw();
  }

  // mark marks faults at their places.
  mark(faults: readonly Fault[]): void {
    this.faults = faults;
    this.draw();
  }

  // go puts the cursor on a fault.
  go(f: Fault): void {
    const [from, to] = this.place(f);
    this.area.focus();
    this.area.setSelectionRange(from, to);
    const lineHeight = parseFloat(getComputedStyle(this.area).lineHeight);
    this.area.scrollTop = Math.max(0, (f.line - 4) * lineHeight);
  }

  // place is where a fault begins and ends in the text: the value that stands there.
  private place(f: Fault): [number, number] {
    if (f.line < 1) return [0, 0];
    let at = 0;
    for (let n = 1; n < f.line; n++) {
      const next = this.area.value.indexOf("\n", at);
      if (next < 0) break;
      at = next + 1;
    }
    const end = this.area.value.indexOf("\n", at);
    const line = this.area.value.slice(at, end < 0 ? undefined : end);
    const col = Math.min(Math.max(f.col - 1, 0), line.length);
    const long = /^(?:"[^"]*"|'[^']*'|[^\s,\]}#]+)/.exec(line.slice(col))?.[0].length ?? line.length - col;
    return [at + col, at + col + Math.max(long, 1)];
  }

  private draw(): void {
    const lines = this.area.value.split("\n").length;
    const wrong = new Set(this.faults.map((f) => f.line));
    this.numbers.replaceChildren(...Array.from({ length: lines }, (_, k) => (wrong.has(k + 1) ? el("span", { class: "wrong" }, `✕ ${k + 1}\n`) : `${k + 1}\n`)));
    const places = this.faults.filter((f) => f.line > 0).map((f) => this.place(f)).sort((a, b) => a[0] - b[0]);
    const parts: (string | HTMLElement)[] = [];
    let at = 0;
    for (const [from, to] of places) {
      if (from < at) continue;
      parts.push(this.area.value.slice(at, from), el("mark", {}, this.area.value.slice(from, to).replace(/^\n?$/, " ")));
      at = to;
    }
    this.behind.replaceChildren(...parts, this.area.value.slice(at), "\n");
  }
}
