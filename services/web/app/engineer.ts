// The engineer: loads over minutes to years, beside wind, tide and draft, against
// each other and against another time; and what the swing is made of.
import { agreement, XY } from "./engineer/xy";
import { Chart, look, type Spec } from "./engineer/chart";
import { Controls, type Known } from "./engineer/controls";
import * as data from "./engineer/data";
import { againsts, address, covering, read, type Against, type State } from "./engineer/state";
import { csv, scaled, table, type Column } from "./engineer/table";
import { el, inOrder, must, text } from "./lib/dom";
import { Live } from "./lib/live";
import { onPaper } from "./lib/paper";
import { onSettings, settings } from "./lib/settings";
import { shape } from "./lib/shapes";
import { shell } from "./lib/shell";
import { inZone, span, stamp } from "./lib/time";
import { tonnes, unit } from "./lib/units";
import { condition, number, percent, place, say } from "./lib/words";
import type { Alarm } from "./lib/wire";
import "./engineer.css"; // after the shell's, which it changes

const live = new Live();
shell(live);

const points = 1200; // across a chart
const againEvery = 60_000; // ms, while the page shows the time up to now
const longestSpectrum = 48 * 3_600_000;
const longestPeriod = 300; // s
const bandsUpTo = 4; // lines; more bands hide each other

let state = asked();
const known: Known = { berths: [], stays: [], lines: [] };
let asking = new AbortController();
let shown: { table: ReturnType<typeof table>; names: string[] } | undefined;
let charts: (Chart | XY)[] = [];

const status = el("p", { class: "status", role: "status" });
const plots = el("div", { class: "plots" });
const alarmList = el("ol", { class: "past" });
const swing = el("div", { class: "pair" });
const of = el("select");
const against = el("select");
const copy = el("button", { type: "button", class: "quiet" }, say("engineer.copy"));
const download = el("button", { type: "button", class: "quiet" }, say("engineer.download"));
const report = el("a", { class: "button" }, say("engineer.report"));
const reportPDF = el("a", { class: "button" }, say("engineer.report-pdf"));
const controls = new Controls(() => state, () => known, go, [copy, download, report, reportPDF]);
const labelled = (name: string, e: HTMLElement): HTMLElement => el("label", {}, el("span", {}, name), e);

must("#main").append(el("h1", { class: "unseen" }, say("engineer.title")), controls.top, status,
  el("div", { class: "columns" },
    el("div", { class: "side" }, controls.side,
      el("section", { class: "panel", "aria-label": say("engineer.alarms") }, el("h2", {}, say("engineer.alarms")), alarmList)),
    el("div", {}, plots,
      el("section", { class: "panel", "aria-label": say("engineer.swing") },
        el("div", { class: "controls" }, labelled(say("engineer.of-line"), of), labelled(say("engineer.against"), against)), swing))));

// asked is what the address asks for; without a berth, the first.
function asked(): State {
  const s = read(live.now());
  return { ...s, berth: s.berth || (live.picture.names[0] ?? "") };
}

// go changes what is shown, and the address with it.
function go(change: Partial<State>): void {
  const next = { ...state, ...change, timed: state.timed || change.last !== undefined || change.from !== undefined };
  if (change.last !== undefined) [next.from, next.to] = [live.now() - change.last, live.now()];
  state = next;
  history.pushState(null, "", address(state));
  void load();
}

addEventListener("popstate", () => {
  state = asked();
  void load();
});
of.addEventListener("change", () => go({ of: of.value }));
against.addEventListener("change", () => go({ against: against.value as Against }));
copy.addEventListener("click", () => {
  const fixed = new URL(address({ ...state, timed: true, last: undefined }), location.href); // as it is seen now
  void navigator.clipboard.writeText(fixed.href).then(() => text(status, say("engineer.copied")));
});
download.addEventListener("click", () => {
  if (!shown) return;
  const url = URL.createObjectURL(new Blob([csv(shown.table, shown.names)], { type: "text/csv" }));
  const name = `${state.berth}-${new Date(state.from).toISOString().slice(0, 16).replace(/[:T]/g, "")}.csv`;
  el("a", { href: url, download: name }).click();
  URL.revokeObjectURL(url);
});

// under gives the plans of a time; before the server knows of a stay in it, the lines as
// they are now.
async function under(t: data.Time, stays: readonly data.Stay[], signal: AbortSignal): Promise<data.Under[]> {
  const then = await data.under(t, stays, signal);
  const now = live.picture.berths.get(t.berth)?.frame.lines ?? [];
  return then.length > 0 ? then : [{ since: 0, lines: now.flatMap((l) => (l.limit ? [{ id: l.id, group: l.group, limit: l.limit }] : [])) }];
}

// load asks for everything anew; what was being asked for is let go.
async function load(): Promise<void> {
  asking.abort();
  asking = new AbortController();
  const signal = asking.signal;
  known.berths = live.picture.names;
  controls.draw();
  if (state.berth === "") {
    text(status, say("engineer.no-berth"));
    return;
  }
  text(status, say("engineer.asking"));
  try {
    known.stays = (await data.stays(state.berth, signal)).sort((a, b) => b.arrival.localeCompare(a.arrival));
    fitStay();
    linkReport();
    await draw(signal);
    if (!signal.aborted) text(status, "");
  } catch (e) {
    if (signal.aborted) return;
    text(status, e instanceof data.Failed ? e.message : say("alarm.refused"));
    if (!(e instanceof data.Failed)) throw e;
  }
}

// fitStay shows the newest stay so far where nobody asked for a time.
function fitStay(): void {
  const newest = known.stays[0];
  if (state.timed || newest === undefined) return;
  const now = live.now(), last = covering(now - Date.parse(newest.arrival));
  state = { ...state, last, from: now - last, to: now };
}

// linkReport leads to the report of the stay that is shown, the newest of them.
function linkReport(): void {
  const stay = known.stays.find((s) => Date.parse(s.arrival) < state.to && Date.parse(s.departure ?? s.newest) >= state.from);
  for (const a of [report, reportPDF]) a.hidden = stay === undefined;
  if (stay === undefined) return;
  const q = new URLSearchParams({ berth: stay.berth, stay: stay.id, zone: Intl.DateTimeFormat().resolvedOptions().timeZone });
  report.href = `/report?${q}`;
  q.set("format", "pdf");
  reportPDF.href = `/report?${q}`;
}

async function draw(signal: AbortSignal): Promise<void> {
  const now: data.Time = { berth: state.berth, from: state.from, to: state.to };
  const then = state.beside && { berth: state.beside.berth, from: state.beside.from, to: state.beside.from + state.to - state.from };
  const [loads, wind, level, fwd, aft, alarms, other] = await Promise.all([
    data.courses(now, "tension", points, signal),
    ...["wind/speed", "water/level", "ship/draft-fwd", "ship/draft-aft"].map((c) => data.courses(now, c, points, signal)),
    data.alarms(now, signal),
    then ? data.courses(then, "tension", points, signal) : Promise.resolve([]),
  ] as const) as [data.Course[], data.Course[], data.Course[], data.Course[], data.Course[], Alarm[], data.Course[]];
  const plans = await under(now, known.stays, signal);
  const plansThen = then ? await under(then, then.berth === now.berth ? known.stays : await data.stays(then.berth, signal), signal) : [];
  known.lines = linesOf(loads, plans);
  controls.draw();
  charts.forEach((c) => c.destroy());
  charts = [];
  const made: Element[] = [];
  const add = (s: Spec): void => {
    const c = new Chart(s);
    charts.push(c);
    made.push(c.root);
  };
  const zoom = (from: number, to: number): void => go({ last: undefined, from, to });
  const base = { from: now.from, to: now.to, group: "time", zoom };
  add({ ...base, ...loadSpec(plans, loads), title: say("engineer.loads"), height: 380, alarms });
  if (then) {
    add({ ...loadSpec(plansThen, other), title: say("engineer.loads-then", { berth: then.berth, time: inZone(then.from) }), height: 300,
      from: then.from, to: then.to, group: "time", byPlace: true });
  }
  add({ ...base, ...plain([[say("mooring.wind"), wind]], 1), title: say("mooring.wind"), unit: say("engineer.mps"), height: 150, zero: true });
  add({ ...base, ...plain([[say("mooring.level"), level], [say("engineer.fwd"), fwd], [say("engineer.aft"), aft]], 2),
    title: say("engineer.heights"), unit: say("engineer.metres"), height: 170 });
  const empty = loads.length === 0 ? [el("p", { class: "ask" }, say("engineer.nothing-then")), ...newestStay()] : [];
  inOrder(plots, [...empty, ...made]);
  drawAlarms(alarms);
  shown = { table: table([...loads, ...wind, ...level, ...fwd, ...aft]), names: [...loads, ...wind, ...level, ...fwd, ...aft].map((c) => c.channel) };
  await drawSwing(now, loads, { wind, level, draft: fwd }, signal);
}

// newestStay leads to the last stay at the berth that there are readings of.
function newestStay(): HTMLElement[] {
  const s = known.stays[0];
  if (s === undefined) return [];
  const from = Date.parse(s.arrival), to = Date.parse(s.departure ?? s.newest);
  const b = el("button", { type: "button" }, say("engineer.newest-stay", { ship: s.ship, from: inZone(from), to: inZone(to) }));
  b.addEventListener("click", () => go({ last: undefined, from, to }));
  return [el("p", {}, b)];
}

// linesOf orders the lines that have loads as the newest plan does, then those of others.
function linesOf(loads: readonly data.Course[], plans: readonly data.Under[]): Known["lines"] {
  const have = new Set(loads.map(data.lineOf));
  const lines = plans.toReversed().flatMap((u) => u.lines).filter((l) => have.delete(l.id)).map((l) => ({ id: l.id, group: l.group }));
  const rest = [...have].sort((a, b) => a.localeCompare(b, undefined, { numeric: true }));
  return [...lines, ...rest.map((id) => ({ id, group: "" }))];
}

type Drawn = Pick<Spec, "table" | "series" | "unit" | "decimals"> & { note?: string; limit?: number; zero?: boolean };

// loadSpec is the chosen lines' loads, in the viewer's unit or as shares of what each
// could bear then.
function loadSpec(plans: readonly data.Under[], loads: readonly data.Course[]): Drawn {
  const t = table(loads), byLine = new Map(loads.map((c, i) => [data.lineOf(c), t.columns[i]]));
  const order = known.lines.map((l) => l.id).concat([...byLine.keys()].filter((id) => !known.lines.some((l) => l.id === id)));
  const chosen = order.filter((id) => byLine.has(id) && (state.lines.length === 0 || state.lines.includes(id)));
  const limits = (id: string): number[] => plans.flatMap((u) => u.lines.filter((l) => l.id === id).map((l) => l.limit));
  const series = chosen.flatMap((id) => {
    const c = byLine.get(id);
    if (!c || (state.share && limits(id).length === 0)) return [];
    return [{ name: id, column: inUnit(c, (place) => data.limitAt(plans, id, t.time[place] ?? 0)), look: look(order.indexOf(id)), band: chosen.length <= bandsUpTo }];
  });
  const [one, ...more] = new Set(chosen.flatMap(limits));
  const limit = state.share ? 100 : one !== undefined && more.length === 0 ? (settings.unit === "t" ? tonnes(one) : one) : undefined;
  const step = Math.max(0, ...loads.map((c) => c.step_ms ?? 0));
  const note = step === 0 ? {} : { note: say(chosen.length <= bandsUpTo ? "engineer.means-within" : "engineer.means", { step: span(step), lines: bandsUpTo }) };
  return { table: t, series, ...note, unit: state.share ? say("engineer.percent-of-limit") : unit(), decimals: !state.share && settings.unit === "t" ? 1 : 0,
    zero: true, ...(limit === undefined ? {} : { limit }) };
}

function inUnit(c: Column, limit: (place: number) => number | undefined): Column {
  if (state.share) {
    return scaled(c, (place) => {
      const most = limit(place);
      return most === undefined ? undefined : 100 / most;
    });
  }
  return settings.unit === "t" ? scaled(c, () => tonnes(1)) : c;
}

// plain is courses as they are, by name.
function plain(all: readonly [string, readonly data.Course[]][], decimals: number): Drawn {
  const have = all.filter(([, c]) => c.length > 0);
  const t = table(have.map(([, c]) => c[0]).filter((c) => c !== undefined));
  return { table: t, unit: "", decimals, series: have.map(([name], i) => ({ name, column: t.columns[i] ?? { mean: [], min: [], max: [] }, look: look(i), band: true })) };
}

function drawAlarms(alarms: readonly Alarm[]): void {
  inOrder(alarmList, alarms.map((a) => {
    const b = el("button", { type: "button", class: "quiet", title: say("engineer.around") }, shape(a.priority, a.state === "normal"),
      ` ${condition(a.condition)} ${place(a.line, a.group, a.source)}`);
    b.addEventListener("click", () => go({ last: undefined, from: a.raised - 600_000, to: a.raised + 600_000 }));
    const lasted = a.cleared === undefined ? say("engineer.still") : span(a.cleared - a.raised);
    const notes = [...(a.acks ?? []).map((k) => [k.by, k.note]), ...(a.notes ?? []).map((n) => [n.by, n.text])]
      .map(([by, note]) => (note ? `${by}: ${note}` : by)).join("; ");
    return el("li", { class: `p-${a.priority}` }, b, el("p", { class: "small" }, stamp(a.raised, 0), ` · ${lasted}${notes ? ` · ${notes}` : ""}`));
  }));
  if (alarms.length === 0) inOrder(alarmList, [el("li", { class: "small" }, say("engineer.no-alarms"))]);
}

// drawSwing shows one line's spectrum, and its load against tide, wind or draft.
async function drawSwing(t: data.Time, loads: readonly data.Course[], beside: Record<Against, readonly data.Course[]>, signal: AbortSignal): Promise<void> {
  const ids = known.lines.map((l) => l.id);
  const line = [state.of, ...state.lines].find((id) => ids.includes(id)) ?? ids[0] ?? "";
  const fill = (s: HTMLSelectElement, all: readonly [string, string][], value: string): void =>
    s.replaceChildren(...all.map(([v, name]) => el("option", { value: v, selected: v === value }, name)));
  fill(of, ids.map((id) => [id, say("mooring.line", { line: id })]), line);
  fill(against, againsts.map((a) => [a, say(`engineer.against.${a}`)]), state.against);
  if (line === "") {
    inOrder(swing, []);
    return;
  }
  const at = t.to - t.from > longestSpectrum ? { ...t, from: t.to - longestSpectrum } : t;
  const s = await data.spectrum(at, line, signal);
  if (signal.aborted) return;
  // Slower than that is the tide, not a swing.
  const order = s.hz.map((_, i) => i).filter((i) => 1 / (s.hz[i] ?? 1) <= longestPeriod).reverse();
  const pieces = [
    new XY({
      title: say("engineer.spectrum", { line }),
      about: s.segments === 0 ? say("engineer.too-short")
        : s.peaks.map((p) => say("engineer.peak", { seconds: number(p.seconds, 1), share: percent(p.share) })).join("; ") || say("engineer.no-peak"),
      x: order.map((i) => 1 / (s.hz[i] ?? 1)), y: order.map((i) => s.density[i] ?? null), log: true, joined: true,
      names: [say("engineer.period-s"), say("engineer.density")], decimals: [1, 0],
      marks: s.peaks.map((p) => ({ x: p.seconds, name: say("time.seconds", { n: number(p.seconds, 1) }) })),
    }),
    scatter(line, loads.find((c) => data.lineOf(c) === line), beside[state.against][0]),
  ];
  charts.push(...pieces);
  inOrder(swing, pieces.map((p) => p.root));
}

// scatter sets a line's means against another course's at the same times.
function scatter(line: string, load: data.Course | undefined, other: data.Course | undefined): XY {
  const at = new Map((other?.time_ms ?? []).map((time, i) => [time, other?.value[i]]));
  const pairs = (load?.time_ms ?? []).flatMap((time, i): [number, number][] => {
    const x = at.get(time), y = load?.value[i];
    return x === undefined || y === undefined ? [] : [[x, settings.unit === "t" ? tonnes(y) : y]];
  }).sort((a, b) => a[0] - b[0]);
  const x = pairs.map((p) => p[0]), y = pairs.map((p) => p[1]), r = agreement(x, y);
  const name = say(`engineer.against.${state.against}`);
  return new XY({
    title: say("engineer.scatter", { line, other: name }),
    about: r === undefined ? say("engineer.too-few") : say("engineer.agreement", { r: number(r, 2), n: x.length }),
    x, y, names: [`${name}, ${say(state.against === "wind" ? "engineer.mps" : "engineer.metres")}`, unit()], decimals: [2, 0],
  });
}

onSettings(() => void load());
onPaper(() => {
  charts.forEach((c) => c.repaint());
  controls.draw();
});
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => void load());
live.subscribe((c) => {
  if (c.names && state.berth === "") go({ berth: live.picture.names[0] ?? "" });
});
setInterval(() => {
  if (state.last === undefined || document.hidden) return;
  [state.from, state.to] = [live.now() - state.last, live.now()];
  void load();
}, againEvery);
void load();
