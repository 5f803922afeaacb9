// What is so about an alarm: the sentence that raised it while it stands; once it has
// returned to normal, the one that cleared it, and the first as what was so then.
import { el } from "./dom";
import { say } from "./words";
import type { Alarm } from "./wire";

const sentence = (text: string): HTMLElement => el("span", { lang: "en-GB" }, text);

export function account(a: Alarm): HTMLElement[] {
  const out: HTMLElement[] = [];
  const now = a.cleared === undefined ? a.detail : a.over;
  if (now) out.push(el("p", { class: "detail" }, sentence(now)));
  if (a.cleared !== undefined && a.detail) out.push(el("p", { class: "small was" }, say("alarm.when-raised"), " ", sentence(a.detail)));
  return out;
}
