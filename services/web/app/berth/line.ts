// All that is known of the line that was chosen in the drawing.
import type { Geometry } from "../drawing/plan";
import { el } from "../lib/dom";
import { load } from "../lib/units";
import { number, percent, place, say, type Key } from "../lib/words";
import type { Berth, Load } from "../lib/wire";
import type { Assessment } from "./assess";

export function lineFacts(g: Geometry, b: Berth, id: string, a: Assessment | undefined, then: number | undefined, past: boolean, heard: boolean, pinAtFault: boolean): Element[] {
  const l = g.lines.find((x) => x.id === id);
  if (!l) return [el("p", { class: "small" }, say("berth.choose-line"))];
  // Of the past nothing is told but the load: the rest would be that of now.
  if (past) {
    return [el("h3", {}, place(l.id, l.group)), el("dl", { class: "facts" },
      fact("berth.load-then", then === undefined ? say("drawing.none") : `${load(then)}, ${say("drawing.of-limit", { share: percent(then / l.working_load_kN) })}`),
      fact("berth.limit", load(l.working_load_kN)))];
  }
  const now = b.loads.get(id);
  const reckoned = a?.lines.find((x) => x.line === id);
  const loss = a?.losses.find((x) => x.lost.length === 1 && x.lost[0] === id);
  const facts: [Key, string | undefined][] = [
    ["berth.measured", now?.kN === undefined || !l.instrumented ? undefined : `${load(now.kN)}, ${percent(now.kN / l.mbl_kN)} ${say("berth.of-mbl")}`],
    ["berth.limit", `${load(l.working_load_kN)}${now?.kN !== undefined && l.instrumented ? `, ${say("drawing.of-limit", { share: percent(now.kN / l.working_load_kN) })}` : ""}`],
    ["berth.reckoned", reckoned ? `${load(reckoned.tensionKn)} (${load(reckoned.lowKn)} – ${load(reckoned.highKn)})` : undefined],
    ["berth.sensor", say(`mooring.sensor.${pinAtFault && now?.sensor === "good" ? "fault" : now?.sensor ?? "silent"}`)],
    ["berth.parting-shown", l.instrumented && !pinAtFault ? undefined : partingShown(heard ? now : undefined, l.mbl_kN)],
    ["berth.made-fast", l.made_fast === "bitts" ? say("mooring.brake.bitts") : say(now?.brake === undefined ? "mooring.brake.unknown" : now.brake ? "mooring.brake.set" : "mooring.brake.released")],
    ["berth.payout", now?.payout === undefined ? undefined : say("mooring.metre", { n: number(now.payout, 2) })],
    ["berth.renders-at", l.brake_render_kN ? load(l.brake_render_kN) : undefined],
    ["berth.length", say("mooring.metre", { n: number(l.length_m, 1) })],
    ["berth.if-lost", loss ? (loss.holds && loss.worst ? say("berth.loss-short", { other: loss.worst.line, load: load(loss.worst.tensionKn) }) : say("berth.loss.adrift")) : undefined],
  ];
  return [el("h3", {}, place(l.id, l.group)),
    el("dl", { class: "facts" }, ...facts.filter(([, v]) => v !== undefined).map(([k, v]) => fact(k, v ?? ""))),
    el("p", { class: "small" }, el("a", { href: `/lines?${new URLSearchParams({ berth: b.name })}` }, say("berth.records")))];
}

// From which load the parting of a line that no load pin shows is told.
function partingShown(now: Load | undefined, mbl: number): string {
  if (now?.shown !== undefined) return say("berth.shown-from", { load: load(now.shown), share: percent(now.shown / mbl) });
  return say(now?.hidden ? "berth.shown-never" : "berth.shown-not-now");
}

function fact(key: Key, value: string): HTMLElement { return el("div", {}, el("dt", {}, say(key)), el("dd", {}, value)); }
