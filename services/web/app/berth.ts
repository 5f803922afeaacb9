// One berth: the mooring from above as it is, as it was and as it will be, and what
// follows from it.
import "./berth/berth.css";
import { ahead } from "./berth/ahead";
import { assess, type Assessment } from "./berth/assess";
import { lineFacts } from "./berth/line";
import { doubt, losses, tendingAdvice } from "./berth/losses";
import { nowScene } from "./berth/now";
import { TimeBar } from "./berth/timebar";
import { Mooring } from "./drawing/mooring";
import type { Geometry } from "./drawing/plan";
import { attribute, el, must, text } from "./lib/dom";
import { AlarmList } from "./lib/alarmlist";
import { isActive } from "./lib/figures";
import { Live } from "./lib/live";
import { onSettings } from "./lib/settings";
import { setup } from "./lib/setup";
import { shell } from "./lib/shell";
import { span, stamp } from "./lib/time";
import { unit } from "./lib/units";
import { count, number, say, type Key } from "./lib/words";
import type { Berth } from "./lib/wire";

const live = new Live();
shell(live);

const name = setup.berth ?? "";
const assessEvery = 30_000; // ms
const aheadEvery = 300_000;
const hoursAhead = 24;

let geometry: Geometry | undefined;
let now: Assessment | undefined; // losses and advice
let later: Assessment | undefined; // the hours ahead
let allLosses = false;
let selected = "";
let asking = false;

const drawing = new Mooring();
const ship = el("h1");
const state = el("p", { class: "state", role: "status" });
const facts = el("dl", { class: "facts" });
const banner = el("p", { class: "banner", hidden: true });
const caption = el("p", { class: "small" });
const alarms = new AlarmList(live, (active, waiting) => {
  document.title = document.title.replace(/^(\(\d+\) )?/, waiting > 0 ? `(${waiting}) ` : "");
  return active === 0 ? say("berth.no-alarms") : count("berth.alarms", active);
});
alarms.only(name);
alarms.root.classList.add("panel");
const linePanel = el("div");
const lossPanel = el("div");
const advicePanel = el("div");
const aheadPanel = el("div", { class: "ahead" });
const doubtText = el("p", { class: "small" });
const bar = new TimeBar(() => ({ geometry, alarms: live.picture.alarms.list, end: berth()?.now.newest ?? live.now(), now: live.now() }), draw);

const panel = (title: Key, cls: string, ...parts: HTMLElement[]): HTMLElement => {
  const id = `panel-${cls}`;
  return el("section", { class: `panel ${cls}`, "aria-labelledby": id }, el("h2", { id }, say(title)), ...parts);
};

must("#main").append(
  el("div", { class: "head" }, ship, facts, state),
  el("div", { class: "columns" },
    el("div", { class: "main-column" },
      el("figure", { class: "figure" }, banner, drawing.element, el("figcaption", {}, caption)),
      bar.element,
      panel("berth.ahead", "hours-ahead", aheadPanel)),
    el("div", { class: "side-column" },
      alarms.root,
      panel("berth.line", "line", linePanel),
      panel("berth.losses", "loss", lossPanel, doubtText, el("p", { class: "small caution" }, say("berth.estimate"))),
      panel("berth.advice", "advice", advicePanel, el("p", { class: "small caution" }, say("berth.advice-caution"))))));

function berth(): Berth | undefined { return live.picture.berths.get(name); }

function reckoned(): Map<string, number> { return new Map((now?.lines ?? []).map((l) => [l.line, l.tensionKn])); }

drawing.onSelect = (id) => {
  selected = id;
  drawLine();
};

// draw shows the time that the bar stands at.
function draw(): void {
  const b = berth();
  if (!b || !geometry) return;
  const past = bar.scene();
  drawing.show(past ?? nowScene(geometry, b, live.picture.alarms.list, reckoned(), live.link === "cut"));
  document.body.classList.toggle("in-the-past", past !== undefined);
  banner.hidden = past === undefined;
  if (past) banner.replaceChildren(el("strong", {}, say("berth.past")), " ", stamp(bar.time(), live.now()), ` · ${say("time.ago", { age: span(live.now() - bar.time()) })} · ${say("berth.not-now")}`);
  drawFacts(b);
  drawLine();
}

function drawFacts(b: Berth): void {
  text(ship, `${b.name} · ${b.frame.ship}`);
  const level = bar.past ? bar.last("water/level") : b.now.level;
  const fwd = bar.past ? bar.last("ship/draft-fwd") : b.now.fwd;
  const aft = bar.past ? bar.last("ship/draft-aft") : b.now.aft;
  const metres = (v: number | undefined, d: number): string => (v === undefined ? say("mooring.none") : number(v, d));
  const fact = (key: Key, value: string): HTMLElement => el("div", {}, el("dt", {}, say(key)), el("dd", {}, value));
  facts.replaceChildren(
    fact("mooring.level", level === undefined ? say("mooring.none") : say("mooring.metre", { n: metres(level, 2) })),
    fact("mooring.draft", `${metres(fwd, 1)} / ${metres(aft, 1)} m`),
    fact("mooring.watch", say(b.now.watch === undefined ? "mooring.watch.unknown" : b.now.watch ? "mooring.watch.yes" : "mooring.watch.no")),
    fact("berth.age", b.now.at === undefined ? say("mooring.none") : say("time.ago", { age: span(live.now() - b.now.at) })));
  const old = live.link === "cut" || !b.now.live;
  state.classList.toggle("old", old);
  text(state, old ? say("berth.old") : "");
  text(caption, say("drawing.caption", { unit: unit() }));
}

function drawLine(): void {
  const b = berth();
  if (b && geometry) linePanel.replaceChildren(...lineFacts(geometry, b, selected, now, bar.value(`${selected}/tension`), bar.past));
}

function drawReckoned(): void {
  if (!geometry) return;
  const nothing = (): HTMLElement => el("p", {}, say("berth.nothing-reckoned"));
  if (!now?.converged) {
    lossPanel.replaceChildren(now ? el("p", { class: "bad" }, say("berth.no-rest")) : nothing());
    advicePanel.replaceChildren(nothing());
    text(doubtText, "");
  } else {
    lossPanel.replaceChildren(...doubts(now), ...losses(geometry, without(now, parted()), allLosses, () => { allLosses = !allLosses; drawReckoned(); }));
    advicePanel.replaceChildren(...doubts(now), ...tendingAdvice(geometry, now));
    text(doubtText, doubt(geometry, now));
  }
  drawAhead();
}

// parted are the lines that have parted, as far as anybody has told.
function parted(): string[] {
  return live.picture.alarms.list.filter((a) => a.berth === name && a.condition === "line-parted" && a.line !== undefined && isActive(a)).map((a) => a.line ?? "");
}

// doubts says why what is reckoned may not be of the mooring as it is.
function doubts(a: Assessment | undefined): HTMLElement[] {
  const lines = parted();
  const note = (what: string): HTMLElement => el("p", { class: "late" }, what);
  return [
    ...(a?.measuredLines === 0 ? [note(say("berth.unmeasured"))] : []),
    ...(lines.length > 0 ? [note(say("berth.parted-note", { lines: lines.join(", ") }))] : []),
  ];
}

// without leaves out the loss of lines that are lost.
function without(a: Assessment, gone: readonly string[]): Assessment {
  return { ...a, losses: a.losses.filter((l) => !l.lost.some((id) => gone.includes(id))) };
}

function drawAhead(): void {
  if (!geometry) return;
  const w = Math.floor(aheadPanel.clientWidth);
  if (w === 0) return;
  aheadPanel.replaceChildren(...doubts(later), ...(later?.converged ? ahead(geometry, later, live.now(), w, parseFloat(getComputedStyle(aheadPanel).fontSize)) : [el("p", {}, say("berth.nothing-reckoned"))]));
}

// readPlan fetches what there is to draw, anew where another plan is in force.
async function readPlan(): Promise<void> {
  const answer = await fetch(`/api/plan?${new URLSearchParams({ berth: name })}`, { cache: "no-store" });
  if (!answer.ok) return;
  const g = (await answer.json()) as Geometry;
  if (g.plan === geometry?.plan) return;
  geometry = g;
  now = later = undefined;
  drawing.plan(g);
  bar.forget();
  draw();
  drawReckoned();
  await Promise.all([reckonNow(), reckonLater()]);
}

async function reckonNow(): Promise<void> {
  if (document.hidden || asking) return;
  asking = true;
  now = await assess(name, { tending: "true" }).finally(() => { asking = false; });
  drawReckoned();
  draw();
}

async function reckonLater(): Promise<void> {
  if (document.hidden) return;
  later = await assess(name, { hours: String(hoursAhead) });
  drawAhead();
}

// tried does what may find no answer: the link says so already.
function tried(fn: () => Promise<void>): () => void {
  return () => void fn().catch(() => undefined);
}

let gone = "";
let wasLive = berth()?.now.live ?? false;
live.subscribe((c) => {
  const isLive = berth()?.now.live ?? false;
  if (c.names) tried(readPlan)();
  // What follows from the loads is asked anew when they come back or an alarm tells
  // of another mooring.
  else if ((isLive && !wasLive) || c.alarms) tried(reckonNow)();
  const nowGone = parted().join();
  if ((isLive && !wasLive) || nowGone !== gone) tried(reckonLater)();
  wasLive = isLive;
  gone = nowGone;
  if (bar.past ? c.alarms : c.alarms || c.link || c.berths.has(name)) draw();
});
live.eachSecond(() => {
  const b = berth();
  if (b) drawFacts(b);
});
onSettings(() => {
  if (geometry) drawing.plan(geometry); // figures may be of other widths
  draw();
  drawReckoned();
});
setInterval(tried(async () => {
  await readPlan(); // another plan of the same ship may be in force
  await reckonNow();
}), assessEvery);
setInterval(tried(reckonLater), aheadEvery);
document.addEventListener("visibilitychange", () => { if (!document.hidden) tried(reckonNow)(); });
new ResizeObserver(() => drawAhead()).observe(aheadPanel);
tried(readPlan)();
attribute(document.body, "data-berth", name);
