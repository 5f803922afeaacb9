// A chart over time: means as lines, least to greatest as bands, alarms as marks.
import "../uplot/uPlot.css";
// Charts of a page share cursor and span: what is dragged over in one becomes the
// span of all.
import uPlot from "../uplot/uPlot";
import { el, text } from "../lib/dom";
import { outline } from "../lib/shapes";
import { setup } from "../lib/setup";
import { inUTC, inZone } from "../lib/time";
import { condition, number, say } from "../lib/words";
import type { Alarm } from "../lib/wire";
import type { Column, Table, Values } from "./table";

export interface Series {
  name: string; // as its label says
  column: Column;
  look: Look;
  band: boolean;
}

// A Look tells one line from another without its colour too.
export interface Look { colour: string; dash: number[] }

const dashes = [[], [7, 3], [2, 3], [9, 3, 2, 3]];
const hues = 8;

// look gives the look of the nth line.
export function look(n: number): Look {
  return { colour: `--series-${(n % hues) + 1}`, dash: dashes[Math.floor(n / hues) % dashes.length] ?? [] };
}

export interface Spec {
  title: string;
  unit: string;
  decimals: number;
  height: number;
  from: number;
  to: number;
  table: Table;
  series: Series[];
  note?: string; // what its lines are
  limit?: number; // drawn across
  zero?: boolean; // the axis begins at 0
  alarms?: readonly Alarm[];
  group: string; // of charts that share the cursor
  byPlace?: boolean; // share it by place, not by time
  zoom?: (from: number, to: number) => void;
}

const dayTicks = new Intl.DateTimeFormat(setup.lang, { day: "numeric", month: "short" });
const clockTicks = new Intl.DateTimeFormat(setup.lang, { hour: "2-digit", minute: "2-digit", hour12: false });
const secondTicks = new Intl.DateTimeFormat(setup.lang, { hour: "2-digit", minute: "2-digit", second: "2-digit", hour12: false });

const rules = 30; // alarms drawn down through the loads; those of more would hide them
const few = 3; // series of a chart that says all their names

// paint resolves a custom property of the page to a colour a canvas takes.
export function paint(name: string): string {
  const probe = el("span", { class: "unseen" });
  probe.style.color = `var(${name})`;
  document.body.append(probe);
  const colour = getComputedStyle(probe).color;
  probe.remove();
  return colour;
}

// swatch is a piece of a line as the chart draws it.
export function swatch(look: Look): HTMLCanvasElement {
  const c = el("canvas", { class: "swatch", width: 44, height: 12, "aria-hidden": "true" });
  const pen = c.getContext("2d");
  if (pen) {
    pen.strokeStyle = paint(look.colour);
    pen.lineWidth = 3;
    pen.setLineDash(look.dash.map((d) => 2 * d));
    pen.beginPath();
    pen.moveTo(0, 6);
    pen.lineTo(44, 6);
    pen.stroke();
  }
  return c;
}

export class Chart {
  readonly root: HTMLElement;
  private readonly box = el("div", { class: "plot" });
  private readonly at = el("p", { class: "readout small" });
  private plot: uPlot | undefined;
  private readonly resize = new ResizeObserver(() => requestAnimationFrame(() => this.fit()));

  constructor(private readonly spec: Spec) {
    const about = spec.series.map((s) => s.name).join(", ");
    this.box.setAttribute("role", "img");
    this.box.setAttribute("aria-label", say("engineer.chart", { title: spec.title, series: about, from: inZone(spec.from), to: inZone(spec.to) }));
    this.root = el("figure", { class: "chart" }, el("figcaption", {}, el("b", {}, spec.title), ` ${spec.unit}`, spec.note ? el("span", { class: "small" }, ` · ${spec.note}`) : null, this.at), this.box);
    this.box.style.height = `${spec.height}px`; // its own before the chart has it
    this.resize.observe(this.box);
    this.tell(null);
  }

  // destroy frees what the chart holds; it is drawn no more.
  destroy(): void {
    this.resize.disconnect();
    this.plot?.destroy();
    this.root.remove();
  }

  // repaint draws it in the colours that there are now.
  repaint(): void {
    if (!this.plot) return;
    const { width } = this.plot;
    this.plot.destroy();
    this.plot = this.draw(width);
  }

  private fit(): void {
    const width = Math.floor(this.box.clientWidth);
    if (width < 50 || !this.box.isConnected) return;
    if (this.plot) this.plot.setSize({ width, height: this.spec.height });
    else this.plot = this.draw(width);
  }

  private draw(width: number): uPlot {
    const s = this.spec;
    const ink = paint("--quiet"), rule = paint("--rule"), font = "12px system-ui, sans-serif";
    const series: uPlot.Series[] = [{}];
    const bands: uPlot.Band[] = [];
    const data: Values[] = [s.table.time.map((t) => t / 1000)];
    for (const one of s.series) {
      const colour = paint(one.look.colour);
      if (one.band) {
        data.push(one.column.max, one.column.min);
        const at = series.length;
        series.push({ stroke: "transparent", points: { show: false }, pxAlign: 0 }, { stroke: "transparent", points: { show: false }, pxAlign: 0 });
        bands.push({ series: [at, at + 1], fill: faint(colour) });
      }
      data.push(one.column.mean);
      series.push({ stroke: colour, width: 1.5, dash: one.look.dash, points: { show: s.table.time.length < 60, size: 4, fill: colour } });
    }
    const axis = { stroke: ink, font, grid: { stroke: rule, width: 1 }, ticks: { stroke: rule, width: 1, size: 4 } };
    return new uPlot({
      width, height: s.height, series, bands,
      scales: {
        x: { time: true, range: [s.from / 1000, s.to / 1000] },
        y: { range: (_u, lo, hi) => this.range(lo, hi) },
      },
      axes: [
        { ...axis, space: clockWidth, values: (_u, splits, _i, _space, step) => ticks(splits, step) },
        { ...axis, size: 56, values: (_u, splits) => figures(splits, s.decimals) },
      ],
      legend: { show: false },
      cursor: {
        drag: { x: s.zoom !== undefined, y: false },
        sync: { key: s.group, scales: s.byPlace ? [null, null] : ["x", null], filters: { pub: () => true, sub: (type) => type === "mousemove" || type === "mouseleave" } },
        points: { show: false },
      },
      hooks: {
        draw: [(u) => this.mark(u)],
        setCursor: [(u) => this.tell(u.cursor.idx ?? null)],
        setSelect: [(u) => this.selected(u)],
      },
    }, data as uPlot.AlignedData, this.box);
  }

  private range(lo: number | null, hi: number | null): [number, number] {
    const s = this.spec;
    let [a, b] = [lo ?? 0, hi ?? 1];
    if (s.zero) a = Math.min(0, a);
    if (s.limit !== undefined) b = Math.max(b, s.limit * 1.05);
    const room = Math.max(b - a, 10 ** -s.decimals * 4) * 0.06;
    return [s.zero && a >= 0 ? 0 : a - room, b + room];
  }

  private selected(u: uPlot): void {
    if (u.select.width < 5) return;
    const from = u.posToVal(u.select.left, "x") * 1000, to = u.posToVal(u.select.left + u.select.width, "x") * 1000;
    u.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
    this.spec.zoom?.(from, to);
  }

  // mark draws the limit, the alarms and the names at the lines' ends.
  private mark(u: uPlot): void {
    const s = this.spec, pen = u.ctx, { left, top, width, height } = u.bbox, px = devicePixelRatio;
    pen.save();
    pen.font = `${12 * px}px system-ui, sans-serif`;
    pen.textAlign = "left";
    pen.textBaseline = "alphabetic";
    if (s.limit !== undefined) {
      const y = u.valToPos(s.limit, "y", true);
      pen.strokeStyle = pen.fillStyle = paint("--ink");
      pen.setLineDash([4 * px, 3 * px]);
      pen.beginPath();
      pen.moveTo(left, y);
      pen.lineTo(left + width, y);
      pen.stroke();
      pen.setLineDash([]);
      pen.fillText(say("engineer.limit"), left + 4 * px, y - 4 * px);
    }
    const inView = (s.alarms ?? []).filter((a) => a.raised >= s.from && a.raised <= s.to);
    for (const a of inView) {
      const x = u.valToPos(a.raised / 1000, "x", true);
      pen.strokeStyle = pen.fillStyle = paint(`--${a.priority}`);
      pen.lineWidth = px;
      if (inView.length <= rules || a.priority === "emergency") {
        pen.beginPath();
        pen.moveTo(x, top + 14 * px);
        pen.lineTo(x, top + height);
        pen.stroke();
      }
      pen.save();
      pen.translate(x - 6 * px, top);
      pen.scale((12 / 16) * px, (12 / 16) * px);
      pen.fill(new Path2D(outline[a.priority]));
      pen.restore();
    }
    this.names(u, pen, px);
    pen.restore();
  }

  // names writes each line's name at its newest point, where there is room; that of few,
  // which no list beside the chart names, else above or below it.
  private names(u: uPlot, pen: CanvasRenderingContext2D, px: number): void {
    const used: number[] = [];
    for (const one of this.spec.series) {
      const last = one.column.mean.findLastIndex((v) => v !== null && v !== undefined);
      const v = one.column.mean[last], t = this.spec.table.time[last];
      if (v === null || v === undefined || t === undefined || t > this.spec.to) continue;
      const wide = pen.measureText(one.name).width;
      const x = Math.min(u.valToPos(t / 1000, "x", true) + 3 * px, u.bbox.left + u.bbox.width - wide);
      const at = u.valToPos(v, "y", true);
      const y = (this.spec.series.length <= few ? [0, -14, 14, -28, 28] : [0]).map((d) => at + d * px)
        .find((place) => place > u.bbox.top && place < u.bbox.top + u.bbox.height && !used.some((o) => Math.abs(o - place) < 11 * px));
      if (y === undefined) continue;
      used.push(y);
      pen.fillStyle = paint("--sheet");
      pen.fillRect(x - px, y - 7 * px, wide + 3 * px, 14 * px);
      pen.fillStyle = paint(one.look.colour);
      pen.fillText(one.name, x, y + 4 * px);
    }
  }

  // tell writes what is under the cursor.
  private tell(index: number | null): void {
    const s = this.spec, t = index === null ? undefined : s.table.time[index];
    if (index === null || t === undefined) {
      text(this.at, say(s.zoom ? "engineer.drag" : "engineer.point"));
      return;
    }
    const values = s.series.map((one) => {
      const v = one.column.mean[index], lo = one.column.min[index], hi = one.column.max[index];
      if (v === null || v === undefined) return "";
      const about = one.band && lo !== null && lo !== undefined && hi !== null && hi !== undefined && lo !== hi
        ? ` (${number(lo, s.decimals)}…${number(hi, s.decimals)})` : "";
      return `${one.name}\u00a0${number(v, s.decimals)}${about}`;
    }).filter((v) => v !== "");
    const raised = (s.alarms ?? []).filter((a) => Math.abs(a.raised - t) < (s.to - s.from) / 200).map((a) => condition(a.condition));
    text(this.at, [`${inZone(t)}, ${inUTC(t)}`, ...values, ...raised].join(" · "));
  }
}

// figures writes the values of an axis, without decimals where they are whole, and
// with as many as their step has.
export function figures(splits: readonly (number | null)[], decimals: number): (string | null)[] {
  const values = splits.filter((v) => v !== null);
  const step = values.length < 2 ? 1 : values[1]! - values[0]!;
  let d = values.every(Number.isInteger) ? 0 : decimals;
  while (d < 6 && Math.abs(step * 10 ** d - Math.round(step * 10 ** d)) > 1e-6) d++;
  return splits.map((v) => (v === null ? null : number(v, d)));
}

// faint is a colour for what lies behind a line.
export function faint(colour: string): string {
  return `color-mix(in srgb, ${colour} 22%, transparent)`;
}

// The least pixels from one time on the axis to the next: one with seconds and a gap.
const clockWidth = 72;

function ticks(splits: readonly number[], step: number): string[] {
  let day = "";
  return splits.map((v) => {
    const at = v * 1000, date = dayTicks.format(at);
    const clock = step >= 86_400 ? "" : step < 60 ? secondTicks.format(at) : clockTicks.format(at);
    if (date === day && clock !== "") return clock;
    day = date;
    return clock === "" ? date : `${clock}\n${date}`;
  });
}
