// The alarms of the berth, with the one thing to do about each.
import { deeds, mayAcknowledge, sideName } from "../lib/deeds";
import { el } from "../lib/dom";
import { stamp } from "../lib/time";
import { condition, has, place, say } from "../lib/words";
import type { Alarm } from "../lib/wire";

export function alarmList(alarms: readonly Alarm[], now: number): Element[] {
  const open = alarms.filter((a) => a.state !== "normal" && a.state !== "shelved" && a.state !== "out-of-service");
  if (open.length === 0) return [el("p", { class: "calm" }, say("berth.no-alarms"))];
  return [el("ol", { class: "alarm-list" }, ...open.map((a) => item(a, now)))];
}

function item(a: Alarm, now: number): HTMLElement {
  const doKey = `alarm.do.${a.condition}`;
  const undone = el("p", { class: "bad", role: "alert" });
  const buttons = mayAcknowledge(a).slice(0, 1).map((side) => {
    const b = el("button", { type: "button", class: "quiet", "aria-label": `${say("alarm.acknowledge-for", { side: sideName(side) })}: ${condition(a.condition)}, ${place(a.line, a.group)}` }, say("alarm.acknowledge"));
    b.addEventListener("click", () => void deeds.acknowledge(a, "", side).then((no) => undone.replaceChildren(no)));
    return b;
  });
  return el("li", { class: `p-${a.priority}` },
    el("p", {}, el("strong", {}, `${say(`alarm.priority.${a.priority}`)}: ${condition(a.condition)}`), " ", place(a.line, a.group)),
    el("p", { class: "small" }, say(`alarm.state.${a.state}`), " · ", stamp(a.raised, now)),
    a.detail ? el("p", { lang: "en-GB", class: "detail" }, a.detail) : has(doKey) ? el("p", { class: "detail" }, say(doKey)) : null,
    ...buttons, undone);
}
