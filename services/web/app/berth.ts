// One berth: the mooring from above as it is, as it was and as it will be, and what
// follows from it.
import "./berth/berth.css";
import { Follows, panel } from "./berth/follows";
import { lineFacts } from "./berth/line";
import { nowScene } from "./berth/now";
import { TimeBar } from "./berth/timebar";
import { Mooring } from "./drawing/mooring";
import type { Geometry } from "./drawing/plan";
import { AlarmList } from "./lib/alarmlist";
import { el, must, text } from "./lib/dom";
import { behind, faulty, watchOf } from "./lib/figures";
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
const planEvery = 60_000; // ms

let geometry: Geometry | undefined;
let selected = "";

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
const follows = new Follows(live, name, draw);
const bar = new TimeBar(() => ({ geometry, end: berth()?.now.newest ?? live.now(), now: live.now() }), draw);

must("#main").append(
  el("div", { class: "head" }, ship, facts, state),
  el("div", { class: "columns" },
    el("div", { class: "main-column" },
      el("figure", { class: "figure" }, banner, drawing.element, el("figcaption", {}, caption)),
      bar.element,
      follows.ahead),
    el("div", { class: "side-column" },
      alarms.root,
      panel("berth.line", "line", linePanel),
      follows.losses,
      follows.advice)));

function berth(): Berth | undefined { return live.picture.berths.get(name); }

drawing.onSelect = (id) => {
  selected = id;
  drawLine();
};

// draw shows the time that the bar stands at.
function draw(): void {
  const b = berth();
  if (!b || !geometry) return;
  const past = bar.scene();
  drawing.show(past ?? nowScene(geometry, b, live.picture.alarms.list, new Map(follows.now?.lines.map((l) => [l.line, l.tensionKn])), live.link === "cut"));
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
  const late = behind(b);
  const fact = (key: Key, value: string): HTMLElement => el("div", {}, el("dt", {}, say(key)), el("dd", {}, value));
  facts.replaceChildren(
    fact("mooring.level", level === undefined ? say("mooring.none") : say("mooring.metre", { n: metres(level, 2) })),
    fact("mooring.draft", `${metres(fwd, 1)} / ${metres(aft, 1)} m`),
    fact("mooring.watch", say(watchOf(b.now))),
    fact("berth.age", b.now.at === undefined ? say("mooring.none") : say("time.ago", { age: span(live.now() - b.now.at) }) + (late === undefined ? "" : `. ${say("mooring.behind", { age: span(late) })}`)));
  const old = !live.hears(b);
  state.classList.toggle("old", old);
  text(state, old ? say("berth.old") : "");
  text(caption, say("drawing.caption", { unit: unit() }));
}

function drawLine(): void {
  const b = berth();
  if (b && geometry) linePanel.replaceChildren(...lineFacts(geometry, b, selected, follows.now, bar.value(`${selected}/tension`), bar.past, live.hears(b), faulty(live.picture.alarms.list, name).has(selected)));
}

// readPlan fetches what there is to draw, anew where another plan is in force.
async function readPlan(): Promise<void> {
  try {
    const answer = await fetch(`/api/plan?${new URLSearchParams({ berth: name })}`, { cache: "no-store" });
    if (!answer.ok) return;
    const g = (await answer.json()) as Geometry;
    if (g.plan === geometry?.plan) return;
    geometry = g;
    drawing.plan(g);
    bar.forget();
    follows.plan(g);
    draw();
  } catch {
    // no answer: the link says so already
  }
}

live.subscribe((c) => {
  if (c.names) void readPlan();
  if (!bar.past && (c.alarms || c.link || c.berths.has(name))) draw();
});
live.eachSecond(() => {
  const b = berth();
  if (b) drawFacts(b);
});
onSettings(() => {
  if (geometry) drawing.plan(geometry); // figures may be of other widths
  draw();
  follows.draw();
});
setInterval(() => void readPlan(), planEvery); // another plan of the same ship may be in force
void readPlan();
