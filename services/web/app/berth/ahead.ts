// The hours ahead: water level, each line's load as a share of its limit, and when
// which line needs tending.
import { attribute, el, svg } from "../lib/dom";
import type { Geometry } from "../drawing/plan";
import { foreseen, hour, span, zone } from "../lib/time";
import { number, percent, place, say, has } from "../lib/words";
import type { Assessment, Tend } from "./assess";

const named = 3; // lines that are told by name in the chart

// ahead draws the panel's content.
export function ahead(g: Geometry, a: Assessment, now: number, w: number, em: number): Element[] {
  const times = a.ahead.map((m) => Date.parse(m.time));
  const first = times[0];
  const last = times.at(-1);
  if (first === undefined || last === undefined) return [el("p", {}, say("berth.nothing-reckoned"))];
  return [chart(g, a, times, first, last, w, em), tending(g, a.tend, now, last),
    el("p", { class: "small" }, say(g.tide ? "berth.ahead-basis" : "berth.ahead-no-tide"), ` ${say("time.zone", { zone: zone(now) })}`)];
}

function chart(g: Geometry, a: Assessment, times: readonly number[], first: number, last: number, w: number, em: number): SVGSVGElement {
  const left = 3.4 * em;
  const right = w - 4.6 * em;
  const level = { top: 1.1 * em, bottom: 4 * em };
  const loads = { top: 5.6 * em, bottom: 14 * em };
  const h = 15.6 * em;
  const x = (t: number): number => left + ((t - first) / (last - first)) * (right - left);
  const s = svg("svg", { class: "hours", viewBox: `0 0 ${w} ${h}`, width: w, height: h, role: "img", "aria-label": say("berth.ahead-chart") });

  // Every third hour of the viewer's clock, or every sixth where they would meet.
  const every = right - left < 30 * em ? 6 : 3;
  for (let t = nextHour(first, every); t <= last; t += every * 3_600_000) {
    s.append(svg("line", { class: "grid", x1: x(t), y1: level.top, x2: x(t), y2: loads.bottom }),
      svg("text", { class: "small quiet", x: x(t), y: h - 0.3 * em, "text-anchor": "middle" }, hour(t)));
  }
  const levels = a.ahead.map((m) => m.waterLevelM);
  const lowest = Math.min(...levels);
  const highest = Math.max(...levels);
  const yLevel = (v: number): number => level.bottom - ((v - lowest) / Math.max(highest - lowest, 0.5)) * (level.bottom - level.top);
  s.append(svg("path", { class: "level", d: levels.map((v, k) => `${k === 0 ? "M" : "L"}${x(times[k] ?? 0).toFixed(1)} ${yLevel(v).toFixed(1)}`).join("") }),
    svg("text", { class: "small quiet", x: right + 0.3 * em, y: yLevel(levels.at(-1) ?? 0) + 0.3 * em }, say("mooring.metre", { n: number(levels.at(-1) ?? 0, 1) })),
    svg("text", { class: "small", x: left, y: level.top - 0.3 * em }, say("mooring.level")));

  for (const k of turns(levels)) {
    const high = (levels[k] ?? 0) > (levels[k - 1] ?? 0) || (levels[k] ?? 0) > (levels[k + 1] ?? 0);
    s.append(svg("text", { class: "small quiet", x: x(times[k] ?? 0), y: yLevel(levels[k] ?? 0) + (high ? 1.2 : -0.45) * em, "text-anchor": "middle" },
      `${say("mooring.metre", { n: number(levels[k] ?? 0, 1) })} ${hour(times[k] ?? 0)}`));
  }

  const shares = g.lines.map((l, i) => a.ahead.map((m) => (m.tensionKn.length ? (m.tensionKn[i] ?? NaN) / l.working_load_kN : NaN)));
  const most = shares.map((v) => v.reduce((x0, y0) => (y0 > x0 ? y0 : x0), 0));
  const top = Math.max(1.15, ...most);
  const y = (v: number): number => loads.bottom - (v / top) * (loads.bottom - loads.top);
  s.append(svg("text", { class: "small", x: left, y: loads.top - 0.4 * em }, say("berth.share-of-limit")));
  const approach = (g.lines[0]?.approach_kN ?? NaN) / (g.lines[0]?.working_load_kN ?? NaN); // the plan's, of every line
  for (const [v, cls] of [[1, "limit"], [approach, "approach"], [0, "grid"]] as const) {
    s.append(svg("line", { class: cls, x1: left, y1: y(v), x2: right, y2: y(v) }), svg("text", { class: "small quiet", x: left - 0.3 * em, y: y(v) + 0.3 * em, "text-anchor": "end" }, percent(v)));
  }
  const worst = most.map((v, i) => [v, i] as const).sort((p, q) => q[0] - p[0]).slice(0, named).map(([, i]) => i);
  const ends: { y: number; lines: string[] }[] = []; // lines that end abreast share a label
  shares.forEach((v, i) => {
    const d = v.map((share, k) => (Number.isNaN(share) ? "" : `${k === 0 || Number.isNaN(v[k - 1] ?? NaN) ? "M" : "L"}${x(times[k] ?? 0).toFixed(1)} ${y(share).toFixed(1)}`)).join("");
    const path = svg("path", { class: "course", d });
    if (worst.includes(i)) {
      path.classList.add(`worst-${worst.indexOf(i)}`);
      const at = v.lastIndexOf(v.findLast((z) => !Number.isNaN(z)) ?? 0);
      const end = y(v[at] ?? 0);
      const abreast = ends.find((e) => Math.abs(e.y - end) < 1.05 * em);
      if (abreast) abreast.lines.push(g.lines[i]?.id ?? "");
      else ends.push({ y: end, lines: [g.lines[i]?.id ?? ""] });
    }
    s.append(path);
  });
  for (const e of ends) s.append(svg("text", { class: "small named", x: right + 0.3 * em, y: e.y + 0.3 * em }, e.lines.join(", ")));
  attribute(s, "data-lines", worst.map((i) => g.lines[i]?.id).join(" "));
  return s;
}

// turns are the high and low waters within the hours, where the tide is of any height.
function turns(levels: readonly number[]): number[] {
  if (Math.max(...levels) - Math.min(...levels) < 0.1) return [];
  const at: number[] = [];
  let rising: boolean | undefined;
  levels.forEach((v, k) => {
    const before = levels[k - 1];
    if (before === undefined || v === before) return;
    if (rising !== undefined && rising !== v > before) at.push(k - 1);
    rising = v > before;
  });
  return at.filter((k) => k > 8 && k < levels.length - 8); // with room for their words
}

function nextHour(t: number, every: number): number {
  const d = new Date(t);
  d.setMinutes(0, 0, 0);
  d.setHours(Math.ceil((d.getHours() + 1e-9) / every) * every);
  while (d.getTime() < t) d.setHours(d.getHours() + every);
  return d.getTime();
}

// tending lists when which line needs tending.
function tending(g: Geometry, spans: readonly Tend[], now: number, end: number): HTMLElement {
  if (spans.length === 0) return el("p", { class: "calm" }, say("berth.tend-none"));
  return el("ol", { class: "tend" }, ...spans.map((t) => {
    const l = g.lines.find((x) => x.id === t.line);
    const from = Date.parse(t.from);
    const to = Date.parse(t.to);
    const key = `berth.tend.${t.limit}`;
    const when = (at: number): HTMLElement => (at - now < 5 * 60_000 ? el("span", {}, say("berth.tend-now")) : el("span", {}, foreseen(at, now), ` (${say("berth.in", { span: span(at - now) })})`));
    const until = to >= end - 5 * 60_000 ? say("berth.tend-on") : el("span", {}, say("berth.tend-until"), " ", foreseen(to, now));
    return el("li", {}, el("strong", {}, place(t.line, l?.group)), " ", say("berth.tend-from"), " ", when(from), ", ", until, "; ", has(key) ? say(key) : t.limit, t.limit === "LOAD_LIMIT_BELOW" || t.limitAt === t.from ? "" : el("span", {}, " ", when(Date.parse(t.limitAt))));
  }));
}
