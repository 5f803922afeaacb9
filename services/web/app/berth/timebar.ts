// The bar of the last hours: where it stands is what the drawing shows.
import { moments, Past } from "./past";
import type { Geometry } from "../drawing/plan";
import type { Scene } from "../drawing/scene";
import { attribute, el, text } from "../lib/dom";
import { short, span } from "../lib/time";
import { say } from "../lib/words";

interface Berth { geometry: Geometry | undefined; end: number; now: number }

const spans = [1, 6, 24] as const; // hours that can be looked back over
const pace = 200; // ms a step while it runs

export class TimeBar {
  readonly element: HTMLElement;
  past = false; // it stands before now
  private record: Past | undefined;
  private readonly slider = el("input", { type: "range", min: 0, max: moments, value: moments, step: 1, "aria-label": say("berth.time") });
  private readonly hours = el("select", { "aria-label": say("berth.look-back") });
  private readonly run = el("button", { type: "button", class: "quiet" }, say("berth.run"));
  private readonly back = el("button", { type: "button", disabled: true }, say("berth.now"));
  private readonly says = el("output", {});
  private timer = 0;
  private opening: Promise<void> | undefined;

  constructor(private readonly berth: () => Berth, private readonly changed: () => void) {
    for (const h of spans) this.hours.append(el("option", { value: h }, say("berth.hours", { n: h })));
    this.element = el("div", { class: "timebar", role: "group", "aria-label": say("berth.time") },
      el("label", {}, el("span", { class: "unseen" }, say("berth.look-back")), this.hours), this.run, this.slider, this.back, this.says);
    this.hours.addEventListener("change", () => { this.forget(); void this.open(); });
    this.slider.addEventListener("input", () => void this.move());
    this.back.addEventListener("click", () => this.live());
    this.run.addEventListener("click", () => void this.toggle());
    this.label();
  }

  // forget leaves the past and what was read of it.
  forget(): void { this.live(); }

  scene(): Scene | undefined {
    const b = this.berth();
    return this.past && this.record && b.geometry ? this.record.scene(b.geometry, Number(this.slider.value)) : undefined;
  }

  time(): number { return this.record?.time(Number(this.slider.value)) ?? this.berth().now; }

  value(channel: string): number | undefined { return this.record?.value(channel, Number(this.slider.value)); }

  // last is value for what changes slowly.
  last(channel: string): number | undefined { return this.record?.last(channel, Number(this.slider.value)); }

  // open reads the record, once however often the slider moves meanwhile.
  private open(): Promise<void> {
    this.opening ??= this.read().finally(() => { this.opening = undefined; });
    return this.opening;
  }

  private async read(): Promise<void> {
    const b = this.berth();
    if (this.record || !b.geometry) return;
    text(this.says, say("berth.reading"));
    try {
      this.record = await Past.read(b.geometry, Number(this.hours.value), b.end);
    } catch {
      text(this.says, say("berth.no-record"));
      return;
    }
    if (this.record.empty) {
      this.record = undefined;
      text(this.says, say("berth.no-record"));
      return;
    }
    this.label();
  }

  private async move(): Promise<void> {
    await this.open();
    if (!this.record) {
      this.slider.value = this.slider.max; // what is said of it stays
      return;
    }
    this.past = Number(this.slider.value) < moments;
    if (this.past) this.show();
    else this.live();
  }

  private live(): void {
    clearInterval(this.timer);
    this.timer = 0;
    this.past = false;
    this.slider.value = this.slider.max;
    this.record = undefined; // the next look back is up to then
    this.show();
  }

  private async toggle(): Promise<void> {
    if (this.timer) {
      clearInterval(this.timer);
      this.timer = 0;
      this.show();
      return;
    }
    await this.open();
    if (!this.record) return;
    if (Number(this.slider.value) >= moments) this.slider.value = "0";
    this.timer = setInterval(() => {
      this.slider.value = String(Number(this.slider.value) + 1);
      if (Number(this.slider.value) >= moments) this.live();
      else void this.move();
    }, pace);
    void this.move();
  }

  private show(): void {
    this.label();
    this.changed();
  }

  private label(): void {
    this.back.disabled = !this.past;
    text(this.run, say(this.timer ? "berth.stop" : "berth.run"));
    const b = this.berth();
    const words = this.past ? `${short(this.time(), b.now)}, ${say("time.ago", { age: span(b.now - this.time()) })}` : say("berth.is-now");
    text(this.says, words);
    attribute(this.slider, "aria-valuetext", words);
  }
}
