// Which line lost brings which other to its limit, and which winch to work.
import type { Geometry } from "../drawing/plan";
import { el } from "../lib/dom";
import { figure, load, unit } from "../lib/units";
import { count, listed, number, percent, place, say, type Stem } from "../lib/words";
import { minute, reached, type Assessment, type LeftAlone, type Loss } from "./assess";

const shown = 5; // losses, before all are asked for

const share = (g: Geometry, line: string, kN: number): number => kN / (g.lines.find((l) => l.id === line)?.working_load_kN ?? Infinity);

// losses is the table, the worst first.
export function losses(g: Geometry, a: Assessment, all: boolean, toggle: () => void): Element[] {
  if (a.losses.length === 0) return [el("p", {}, say("berth.nothing-reckoned"))];
  const bad = a.losses.filter((l) => serious(l));
  const first = bad[0];
  const sentence = !first ? el("p", { class: "calm" }, say("berth.losses-fine"))
    : el("p", { class: "bad" }, !first.holds || !first.worst ? say("berth.loss-adrift", { line: first.lost.join(", ") })
      : say("berth.loss-worst", { line: first.lost.join(", "), other: first.worst.line, load: load(first.worst.tensionKn), share: percent(share(g, first.worst.line, first.worst.tensionKn)) }));
  const rows = (all ? a.losses : a.losses.slice(0, shown)).map((l) => row(g, l));
  const table = el("table", { class: "losses" },
    el("caption", {}, say("berth.losses-caption", { unit: unit() })),
    el("thead", {}, el("tr", {}, ...(["lost", "worst", "load", "share", "follows"] as const).map((k) => el("th", { scope: "col", class: k === "load" || k === "share" ? "n" : undefined }, say(`berth.loss.${k}`))))),
    el("tbody", {}, ...rows));
  const more = el("button", { type: "button", class: "quiet" }, say(all ? "berth.fewer" : "berth.all-losses", { n: a.losses.length }));
  more.addEventListener("click", toggle);
  return [sentence, table, ...(a.losses.length > shown ? [el("p", {}, more)] : [])];
}

function serious(l: Loss): boolean {
  return !l.holds || !l.worst || reached(l.worst.limit, "LOAD_LIMIT_WORKING_LOAD") || l.cascade.length > 0;
}

function row(g: Geometry, l: Loss): HTMLTableRowElement {
  const w = l.worst;
  const follows = [
    !l.holds && say("berth.loss.adrift"),
    l.cascade.length > 0 && say("berth.loss.parts", { lines: l.cascade.join(", ") }),
    l.renders.length > 0 && say("berth.loss.renders", { lines: l.renders.join(", ") }),
  ].filter(Boolean).join("; ");
  const over = w ? reached(w.limit, "LOAD_LIMIT_WORKING_LOAD") : true;
  const near = w?.limit === "LOAD_LIMIT_APPROACHING";
  return el("tr", { class: over ? "bad" : undefined },
    el("th", { scope: "row" }, l.lost.join(", ")),
    el("td", {}, w?.line ?? say("drawing.none")),
    el("td", { class: "n" }, w ? `${figure(w.tensionKn)}` : say("drawing.none"), w && w.highKn > 0 ? el("span", { class: "small" }, ` ${figure(w.lowKn)}–${figure(w.highKn)}`) : null),
    el("td", { class: "n" }, w ? percent(share(g, w.line, w.tensionKn)) : say("drawing.none")),
    el("td", {}, [over && w ? say("drawing.form.over") : near ? say("drawing.form.near") : "", follows].filter(Boolean).join("; ")));
}

// tendingAdvice lists which winch to work, in order; lines have parted, or none.
export function tendingAdvice(g: Geometry, a: Assessment, parted: boolean): Element[] {
  if (a.settles === undefined) return [el("p", {}, say("berth.nothing-reckoned"))];
  if (a.actions.length === 0) return [el("p", { class: "calm" }, say(!a.settles ? "berth.advice-cannot" : parted ? "berth.advice-parted" : "berth.advice-none"))];
  return [
    el("ol", { class: "actions" }, ...a.actions.map((x) => {
      const l = g.lines.find((y) => y.id === x.line);
      const text = say(x.payOutM > 0 ? "berth.pay-out" : "berth.heave", { m: number(Math.abs(x.payOutM), 2) });
      return el("li", {}, el("strong", {}, place(x.line, l?.group)), `, ${say(x.onWinch ? "berth.on-winch" : "berth.on-bitts")}: `, el("strong", {}, text), ` (${say("berth.from-to", { from: figure(x.fromKn), to: load(x.toKn) })})`);
    })),
    el("p", {}, say(a.settles ? "berth.advice-settles" : "berth.advice-not-all")),
    el("p", {}, say("berth.advice-way")),
  ];
}

const reasons: readonly [LeftAlone, Stem][] = [
  ["REASON_MAY_HAVE_PARTED", "berth.left-parted"], ["REASON_SAID_TO_HOLD", "berth.left-said"], ["REASON_PIN_AT_FAULT", "berth.left-pin"],
];

// leftAlone says of which lines no winch is proposed, and why.
export function leftAlone(a: Assessment): Element[] {
  return reasons.flatMap(([reason, stem]) => {
    const lines = a.leftAlone.filter((l) => l.reason === reason).map((l) => l.line);
    return lines.length === 0 ? [] : [el("p", { class: "late" }, count(stem, lines.length, { lines: listed(lines) }))];
  });
}

// doubt says what the figures rest on, of the lines that have not parted.
export function doubt(g: Geometry, a: Assessment, parted: number): string {
  return (a.wind === null ? `${say("berth.untold")} ` : "") + say("berth.doubt", { measured: a.measuredLines, lines: g.lines.length - parted,
    over: a.loadsOverSeconds === minute ? say("berth.over-minute") : say("berth.over-seconds", { n: a.loadsOverSeconds }) });
}
