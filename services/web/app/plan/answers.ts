// What there is to say about a text: faults, remarks, changes, and the versions
// there were.
import { el } from "../lib/dom";
import { localise } from "../lib/time";
import { count, say } from "../lib/words";
import type { Change, Fault, Findings, Remark, Versions } from "./desk";

// faultList lists faults; each leads to its place. Their texts are as the reader of
// plans gives them, in English.
export function faultList(faults: readonly Fault[], go: (f: Fault) => void): Element[] {
  if (faults.length === 0) return [];
  return [el("ol", { class: "faults" }, ...faults.map((f) => {
    const what = el("span", { lang: "en-GB" }, f.path ? `${f.path}: ${f.want}` : f.want);
    if (f.line < 1) return el("li", {}, what);
    const b = el("button", { type: "button", class: "quiet" }, say("plan.at", { line: f.line, col: f.col }));
    b.addEventListener("click", () => go(f));
    return el("li", {}, b, " ", what);
  }))];
}

// remarkList lists remarks, the most serious first, each with its rule and source.
export function remarkList(f: Findings, select: (line: string) => void): Element[] {
  if (!f.geometry) return [el("p", { class: "small" }, say("plan.faults-first"))];
  const foot = el("p", { class: "small" }, say("plan.not-in-plan"));
  if (f.remarks.length === 0) return [el("p", {}, say("plan.no-remarks")), foot];
  return [el("ul", { class: "remark-list" }, ...f.remarks.map((r) => remark(r, select))), foot];
}

function remark(r: Remark, select: (line: string) => void): HTMLElement {
  const lines = r.lines.map((id) => {
    const b = el("button", { type: "button", class: "quiet", "aria-label": say("plan.show-line", { line: id }) }, id);
    b.addEventListener("click", () => select(id));
    return b;
  });
  return el("li", { class: `remark ${r.severity}` },
    el("p", {}, el("strong", {}, say(`plan.severity.${r.severity}`)), " ", el("span", { lang: "en-GB" }, `${r.text}.`)),
    lines.length > 0 ? el("p", { class: "line-buttons" }, el("span", { class: "small" }, count("plan.lines", lines.length)), " ", ...lines) : null,
    el("details", {}, el("summary", { class: "small" }, say("plan.why")), el("p", { class: "small", lang: "en-GB" }, `${r.says} ${r.source}.`)));
}

// changeTable compares a text with the plan in force.
export function changeTable(f: Findings): Element[] {
  if (!f.geometry) return [el("p", { class: "small" }, say("plan.faults-first"))];
  if (!f.in_force) return [el("p", {}, say("plan.new"))];
  if (f.changes.length === 0) return [el("p", {}, say("plan.same"))];
  return [el("div", { class: "wide", tabindex: 0, role: "group", "aria-label": say("plan.changes") }, el("table", {},
    el("thead", {}, el("tr", {}, ...(["where", "was", "is"] as const).map((k) => el("th", { scope: "col" }, say(`plan.change.${k}`))))),
    el("tbody", {}, ...alike(f.changes).map(([c, lines]) => el("tr", {},
      el("th", { scope: "row" }, lines.length > 0 ? `${count("plan.lines", lines.length)} ${lines.join(", ")}` : "", c.line && c.path ? ": " : "", el("code", {}, c.path)),
      el("td", {}, c.was ? el("del", {}, c.was) : say("plan.nothing")),
      el("td", {}, c.is ? el("ins", {}, c.is) : say("plan.nothing")))))))];
}

// alike gathers changes that are the same on several lines.
function alike(changes: readonly Change[]): [Change, string[]][] {
  const all = new Map<string, [Change, string[]]>();
  for (const c of changes) {
    const key = JSON.stringify([c.line !== "", c.path, c.was, c.is]);
    const same = all.get(key) ?? [c, []];
    if (c.line) same[1].push(c.line);
    all.set(key, same);
  }
  return [...all.values()];
}

// versionTable lists who put the berth under which plan when.
export function versionTable(v: Versions, here: string | undefined, open: (fingerprint: string) => void): Element[] {
  if (v.versions.length === 0) return [el("p", { class: "small" }, say("plan.no-versions"))];
  let told = false;
  const table = el("table", {},
    el("thead", {}, el("tr", {}, ...(["when", "by", "ship", "plan"] as const).map((k) => el("th", { scope: "col" }, say(`plan.version.${k}`))), el("td", {}))),
    el("tbody", {}, ...v.versions.map((x) => {
      const b = el("button", { type: "button", class: "quiet", "aria-label": say("plan.open-version", { plan: x.plan.slice(0, 8) }) }, say("plan.open"));
      b.addEventListener("click", () => open(x.plan));
      // Put back, a plan is in the list twice: the newest is the one in force.
      const now = x.plan === v.in_force && !told;
      told ||= now;
      return el("tr", {},
        el("td", {}, el("time", { datetime: x.at }, x.at)), el("td", {}, x.by ?? say("plan.nobody")), el("td", {}, x.ship),
        el("td", {}, el("code", {}, x.plan.slice(0, 8)), now ? el("strong", {}, ` ${say("plan.in-force")}`) : null, x.plan === here ? ` ${say("plan.here")}` : null), el("td", {}, b));
    })));
  localise(table);
  return [el("div", { class: "wide", tabindex: 0, role: "group", "aria-label": say("plan.versions") }, table)];
}
