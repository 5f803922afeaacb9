// Sound and vibration for as long as an alarm waits for this side, and a low tone
// while nothing is heard of the server. A browser lets a page sound only after its
// user has touched it: hence the button, which also says when there is none.
import { el, text } from "../lib/dom";
import type { Live } from "../lib/live";
import { say } from "../lib/words";
import type { Priority } from "../lib/wire";
import { present, waiting, type Which } from "./part";

// A Call is tones (Hz, 0 is silence), each so many ms long, again after a pause.
interface Call { tones: readonly number[]; each: number; pause: number }

const calls: Record<Priority | "cut", Call | undefined> = {
  emergency: { tones: [988, 740, 988, 740, 988, 740], each: 140, pause: 300 },
  alarm: { tones: [880, 0, 880], each: 200, pause: 1400 },
  warning: { tones: [660], each: 300, pause: 6000 },
  caution: undefined, // seen, not heard
  cut: { tones: [220], each: 500, pause: 9500 },
};

export class Sound {
  private readonly state = el("span");
  private readonly button = el("button", { type: "button", class: "sound", "aria-pressed": "false" }, this.state);
  readonly root = this.button;
  private context: AudioContext | undefined;
  private timer = 0;
  private calling = "";
  private lock: WakeLockSentinel | undefined;

  constructor(private readonly live: Live, private readonly berth: Which) {
    text(this.state, say("deck.sound-off"));
    this.button.addEventListener("click", () => void this.toggle());
    live.subscribe(() => this.settle());
    live.eachSecond(() => this.settle());
    document.addEventListener("visibilitychange", () => void this.stayAwake());
  }

  private get on(): boolean { return this.context?.state === "running"; }

  private async toggle(): Promise<void> {
    if (this.on) {
      await this.context?.suspend();
    } else {
      this.context ??= new AudioContext();
      await this.context.resume();
      this.context.addEventListener("statechange", () => this.show());
      this.sound({ tones: [660, 880], each: 120, pause: 0 }); // how it will sound
    }
    this.show();
    await this.stayAwake();
    this.settle();
  }

  private show(): void {
    text(this.state, say(this.on ? "deck.sound-on" : "deck.sound-off"));
    this.button.setAttribute("aria-pressed", String(this.on));
  }

  // stayAwake keeps the screen on while sound is: a phone asleep hears nothing.
  private async stayAwake(): Promise<void> {
    if (!this.on) {
      await this.lock?.release();
      this.lock = undefined;
      return;
    }
    if (document.visibilityState !== "visible" || !("wakeLock" in navigator)) return;
    try {
      this.lock = await navigator.wakeLock.request("screen");
    } catch {
      // the battery is low: the screen goes off as it always does
    }
  }

  // settle begins the call that is due, or none.
  private settle(): void {
    const due = this.live.link === "cut" ? "cut" : present(this.live, this.berth()).find(waiting)?.priority;
    const call = due && calls[due];
    document.documentElement.dataset["calls"] = call ? due : "";
    if (due === this.calling) return;
    this.calling = due ?? "";
    clearTimeout(this.timer);
    if (call) this.again(call);
  }

  private again(call: Call): void {
    this.sound(call);
    this.timer = setTimeout(() => this.again(call), call.tones.length * call.each + call.pause);
  }

  private sound(call: Call): void {
    if (!this.on || !this.context) return;
    navigator.vibrate?.(call.tones.map((_, i) => (i % 2 === 0 ? 2 * call.each : call.each / 2)));
    let at = this.context.currentTime;
    for (const hz of call.tones) {
      const length = call.each / 1000;
      if (hz > 0) this.tone(hz, at, length);
      at += length;
    }
  }

  // tone has soft edges: a square one clicks.
  private tone(hz: number, at: number, length: number): void {
    if (!this.context) return;
    const gain = new GainNode(this.context, { gain: 0 });
    const from = new OscillatorNode(this.context, { type: "triangle", frequency: hz });
    gain.gain.setValueAtTime(0, at);
    gain.gain.linearRampToValueAtTime(0.9, at + 0.01);
    gain.gain.setValueAtTime(0.9, at + length - 0.02);
    gain.gain.linearRampToValueAtTime(0, at + length);
    from.connect(gain).connect(this.context.destination);
    from.start(at);
    from.stop(at + length);
  }
}
