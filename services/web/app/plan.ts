// A berth's plan as text: looked through as it is written, drawn, compared with the
// one in force, and put in its place.
import "./plan/plan.css";
import { Mooring } from "./drawing/mooring";
import type { Geometry } from "./drawing/plan";
import type { LineScene } from "./drawing/scene";
import { el, must, text } from "./lib/dom";
import { onSettings, settings } from "./lib/settings";
import { mayCall, setup } from "./lib/setup";
import { shell } from "./lib/shell";
import { unit } from "./lib/units";
import { count, say } from "./lib/words";
import { changeTable, faultList, remarkList, versionTable } from "./plan/answers";
import { ask, plans, type Findings, type Versions } from "./plan/desk";
import { Editor } from "./plan/editor";
import { putDialog } from "./plan/put";
import { WindPanel } from "./plan/wind";

shell();

const name = setup.berth ?? "";
const pause = 400; // ms after the last key before the text is looked through

let findings: Findings | undefined;
let versions: Versions = { in_force: "", versions: [] };
let waiting = 0;
let asked = 0; // a late answer to an earlier text is passed over

const editor = new Editor();
const drawing = new Mooring();
const windy = new WindPanel(() => editor.value);
const verdict = el("p", { class: "verdict", role: "status" });
const faults = el("div");
const remarks = el("div");
const changes = el("div");
const listed = el("div");
const put = el("button", { type: "button", disabled: true }, say("plan.put"));
const deed = mayCall("PUT /api/plan") ? put : el("span", { class: "small" }, say("plan.not-given"));
const file = el("input", { type: "file", accept: ".yaml,.yml,.txt,text/plain", class: "unseen", tabindex: -1, "aria-label": say("plan.open-file") });
const openFile = el("button", { type: "button", class: "quiet" }, say("plan.open-file"));
const again = el("button", { type: "button", class: "quiet" }, say("plan.from-force"));
const panel = (title: string, cls: string, ...parts: HTMLElement[]): HTMLElement => el("section", { class: `panel ${cls}`, "aria-label": title }, el("h2", {}, title), ...parts);

must("#main").append(
  el("div", { class: "head" }, el("h1", {}, say("plan.title", { berth: name })), el("div", { class: "deeds" }, openFile, file, again, deed)),
  verdict,
  el("div", { class: "columns" },
    el("div", { class: "text-column" }, editor.element, faults),
    el("div", { class: "answer-column" },
      el("figure", { class: "figure" }, drawing.element, el("figcaption", { class: "small" }, say("plan.drawn", { unit: unit() }))),
      panel(say("plan.wind"), "in-wind", windy.element),
      panel(say("plan.remarks"), "remarks", remarks),
      panel(say("plan.changes"), "changes", changes),
      panel(say("plan.versions"), "versions", listed))));

function show(): void {
  const f = findings;
  if (!f) return;
  editor.mark(f.faults);
  const same = f.plan !== undefined && f.plan === f.in_force;
  put.disabled = !f.plan || same;
  verdict.classList.toggle("bad", f.faults.length > 0);
  text(verdict, f.faults.length > 0 ? count("plan.faults", f.faults.length) : same ? say("plan.same") : f.in_force ? count("plan.changed", f.changes.length) : say("plan.new"));
  faults.replaceChildren(...faultList(f.faults, (x) => editor.go(x)));
  remarks.replaceChildren(...remarkList(f, (id) => drawing.select(id)));
  changes.replaceChildren(...changeTable(f));
  if (f.geometry) drawPlan(f.geometry);
  drawing.element.classList.toggle("outdated", !f.geometry);
  showVersions();
}

function drawPlan(g: Geometry): void {
  drawing.plan(g);
  const lines = new Map<string, LineScene>(g.lines.map((l) => [l.id, { form: l.instrumented ? "steady" : "no-pin", kN: l.pretension_kN }]));
  drawing.show({ kind: "planned", lines, fwd: g.reference.draft_fwd_m, aft: g.reference.draft_aft_m });
}

function showVersions(): void {
  listed.replaceChildren(...versionTable(versions, findings?.plan, (fingerprint) => void fetchText(fingerprint)));
}

// look looks the text through once the keys are at rest.
function look(): void {
  clearTimeout(waiting);
  waiting = setTimeout(() => void lookNow(), pause);
}

async function lookNow(): Promise<void> {
  clearTimeout(waiting);
  const mine = ++asked;
  try {
    const f = await plans.check(name, editor.value);
    if (mine !== asked) return;
    findings = f;
    windy.of(f.geometry);
    show();
  } catch (e) {
    if (mine === asked) text(verdict, e instanceof Error ? e.message : say("plan.no-answer"));
  }
}

async function fetchText(fingerprint: string): Promise<void> {
  const got = await ask(() => plans.text(name, fingerprint));
  if (got.error !== undefined) {
    text(verdict, got.error);
    return;
  }
  editor.value = got.value;
  await lookNow();
}

async function readVersions(): Promise<void> {
  const got = await ask(() => plans.versions(name));
  if (got.value) versions = got.value;
  showVersions();
}

openFile.addEventListener("click", () => file.click());
file.addEventListener("change", () => void readFile());
again.addEventListener("click", () => void fetchText(""));
editor.onInput = look;
put.addEventListener("click", () => {
  const f = findings;
  if (!f?.plan) return;
  putDialog(f, put, async (by) => {
    settings.by = by;
    const got = await ask(() => plans.put(name, by, editor.value, f.in_force ?? ""));
    await readVersions();
    await lookNow();
    if (got.error === undefined) text(verdict, say("plan.done"));
    return got.error;
  });
});
onSettings(show);

async function readFile(): Promise<void> {
  const chosen = file.files?.[0];
  file.value = "";
  if (!chosen) return;
  if (chosen.size > plans.most) {
    text(verdict, say("plan.too-long"));
    return;
  }
  editor.value = await chosen.text();
  await lookNow();
}

void readVersions().then(() => (versions.in_force ? fetchText("") : lookNow()));
