// Charts whose x is no time: a spectrum over period, a load against the tide.
import uPlot from "../uplot/uPlot";
import { el, text } from "../lib/dom";
import { number, say } from "../lib/words";
import { faint, figures, paint } from "./chart";

export interface Points {
  title: string;
  about: string; // what it tells, in a sentence
  x: number[]; // rising
  y: (number | null)[];
  names: [string, string]; // of the axes, with units
  decimals: [number, number];
  log?: boolean; // the x axis, which then ends at the points' ends
  joined?: boolean; // by a line, and filled down to zero
  marks?: { x: number; name: string }[];
}

const height = 260;

export class XY {
  readonly root: HTMLElement;
  private readonly box = el("div", { class: "plot", role: "img" });
  private readonly at = el("p", { class: "readout small" });
  private plot: uPlot | undefined;
  private readonly resize = new ResizeObserver(() => requestAnimationFrame(() => this.fit()));

  constructor(private readonly p: Points) {
    this.box.setAttribute("aria-label", `${p.title}. ${p.about}`);
    this.root = el("figure", { class: "chart" }, el("figcaption", {}, el("b", {}, p.title), el("p", {}, p.about), this.at), this.box);
    this.box.style.height = `${height}px`;
    this.resize.observe(this.box);
    text(this.at, say("engineer.point"));
  }

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
    if (width < 50 || !this.box.isConnected || this.p.x.length === 0) return;
    if (this.plot) this.plot.setSize({ width, height });
    else this.plot = this.draw(width);
  }

  private draw(width: number): uPlot {
    const p = this.p, stroke = paint("--quiet"), rule = paint("--rule"), font = "12px system-ui, sans-serif", colour = paint("--series-1");
    const axis = { stroke, font, labelFont: font, labelSize: 16, grid: { stroke: rule, width: 1 }, ticks: { stroke: rule, width: 1, size: 4 } };
    return new uPlot({
      width, height,
      scales: { x: { time: false, distr: p.log ? 3 : 1, ...(p.log && { range: () => [p.x[0] ?? 1, p.x.at(-1) ?? 10] }) }, y: { range: (_u, lo, hi) => (p.joined ? [0, (hi || 1) * 1.1] : room(lo, hi)) } },
      series: [{}, p.joined
        ? { stroke: colour, width: 1.5, fill: faint(colour), points: { show: false } }
        : { stroke: "transparent", paths: () => null, points: { show: true, size: 4, fill: colour, stroke: colour } }],
      axes: [
        { ...axis, label: p.names[0], values: (_u, splits) => figures(splits, p.decimals[0]), ...(p.log && { filter: (_u: uPlot, splits: number[]) => splits.map(written) }) },
        { ...axis, size: 56, label: p.names[1], values: (_u, splits) => figures(splits, p.decimals[1]) },
      ],
      legend: { show: false },
      cursor: { drag: { x: false, y: false } },
      hooks: { draw: [(u) => this.mark(u)], setCursor: [(u) => this.tell(u.cursor.idx ?? null)] },
    }, [p.x, p.y] as uPlot.AlignedData, this.box);
  }

  private mark(u: uPlot): void {
    const pen = u.ctx, px = devicePixelRatio;
    pen.save();
    pen.font = `600 ${12 * px}px system-ui, sans-serif`;
    pen.fillStyle = pen.strokeStyle = paint("--ink");
    pen.textAlign = "right";
    pen.textBaseline = "middle";
    (this.p.marks ?? []).forEach((m, i) => { // each on a line of its own
      const x = u.valToPos(m.x, "x", true), y = u.bbox.top + (8 + 15 * i) * px;
      pen.beginPath();
      pen.moveTo(x, y - 5 * px);
      pen.lineTo(x, y + 5 * px);
      pen.stroke();
      pen.fillText(m.name, x - 4 * px, y);
    });
    pen.restore();
  }

  private tell(index: number | null): void {
    const x = index === null ? undefined : this.p.x[index], y = index === null ? undefined : this.p.y[index];
    if (x === undefined || y === undefined || y === null) return;
    text(this.at, `${this.p.names[0]} ${number(x, this.p.decimals[0])} · ${this.p.names[1]} ${number(y, this.p.decimals[1])}`);
  }
}

// written keeps of the places of an axis of ratios those that have room for their figure.
function written(v: number): number | null {
  return [1, 2, 3, 5].includes(Math.round(v / 10 ** Math.floor(Math.log10(v) + 1e-9))) ? v : null;
}

function room(lo: number, hi: number): [number, number] {
  const more = Math.max(hi - lo, 1) * 0.08;
  return [lo - more, hi + more];
}

// agreement is Pearson's coefficient of correlation of two columns.
export function agreement(x: readonly number[], y: readonly number[]): number | undefined {
  const n = x.length;
  if (n < 3) return undefined;
  const mean = (v: readonly number[]): number => v.reduce((a, b) => a + b, 0) / n;
  const mx = mean(x), my = mean(y);
  let xy = 0, xx = 0, yy = 0;
  for (let i = 0; i < n; i++) {
    const dx = (x[i] ?? 0) - mx, dy = (y[i] ?? 0) - my;
    xy += dx * dy;
    xx += dx * dx;
    yy += dy * dy;
  }
  return xx > 0 && yy > 0 ? xy / Math.sqrt(xx * yy) : undefined;
}
