// The strips: a berth's lines side by side under one horizon, the working load
// limit. In each, the last ten minutes run from left to right, the band from the
// least to the greatest and the mean in it; the upright at the right is the load now.
// What reaches the horizon is at its limit, whatever the line.
import { colour, onColours, type Colour } from "./colours";
import { el } from "./dom";
import { isOld, loadOf, share } from "./figures";
import { outline } from "./shapes";
import { mostSpans, type Berth, type LineFrame, type Priority, type Span } from "./wire";

const top = 1.25; // of the limit, at the upper edge
const paths = new Map<Priority, Path2D>();

function path(p: Priority): Path2D {
  let found = paths.get(p);
  if (!found) paths.set(p, (found = new Path2D(outline[p])));
  return found;
}

export class Strips {
  readonly canvas = el("canvas", { class: "strips", "aria-hidden": "true" });
  // courses keeps what changes every ten seconds, so that each update draws little.
  private readonly courses = document.createElement("canvas");
  private stale = true; // courses has to be drawn anew
  private waiting = 0;
  private berth: Berth | undefined;
  private flags: ReadonlyMap<string, Priority> = new Map();
  private dead = false;

  constructor() {
    new ResizeObserver(() => this.resize()).observe(this.canvas);
    onColours(() => { this.stale = true; this.draw(); });
  }

  // show draws a berth, soon. flags are the worst active alarms by line; dead says
  // that the link is cut. fresh says that a course has changed.
  show(b: Berth, flags: ReadonlyMap<string, Priority>, dead: boolean, fresh: boolean): void {
    this.berth = b;
    if (fresh || dead !== this.dead || flags !== this.flags) this.stale = true;
    this.flags = flags;
    this.dead = dead;
    this.ask();
  }

  private ask(): void {
    if (this.waiting === 0) this.waiting = requestAnimationFrame(() => { this.waiting = 0; this.draw(); });
  }

  private resize(): void {
    const ratio = devicePixelRatio || 1;
    const w = Math.round(this.canvas.clientWidth * ratio);
    const h = Math.round(this.canvas.clientHeight * ratio);
    if (w === this.canvas.width && h === this.canvas.height) return;
    for (const c of [this.canvas, this.courses]) { c.width = w; c.height = h; } // empties them
    this.stale = true;
    this.draw(); // in this frame: it is not painted yet
  }

  private draw(): void {
    const b = this.berth;
    const g = this.canvas.getContext("2d");
    const { width, height } = this.canvas;
    if (!b || !g || width === 0 || height === 0) return;
    if (this.stale) this.drawCourses(b);
    this.stale = false;
    g.clearRect(0, 0, width, height);
    g.drawImage(this.courses, 0, 0);
    const each = width / b.frame.lines.length;
    const bar = this.bar();
    b.frame.lines.forEach((line, i) => {
      const l = loadOf(b, line);
      const s = share(line, l);
      if (s === undefined) return;
      const y = this.y(s);
      const right = Math.round((i + 1) * each - this.gap());
      g.fillStyle = colour(this.inkOf(b, line, "ink"));
      g.fillRect(right - bar, y, bar, height - y);
      if (s >= 1 && !isOld(b, l)) this.hatch(g, right - bar, y, bar, this.y(1) - y);
    });
    this.drawFlags(g, each);
  }

  // drawFlags puts the shape of each line's worst alarm over its strip.
  private drawFlags(g: CanvasRenderingContext2D, each: number): void {
    const size = Math.min(each * 0.7, this.y(1) * 0.8, 14 * (devicePixelRatio || 1));
    this.berth?.frame.lines.forEach((line, i) => {
      const p = this.flags.get(line.id);
      if (!p) return;
      g.save();
      g.translate(i * each + (each - size) / 2, 1);
      g.scale(size / 16, size / 16);
      g.fillStyle = colour(this.dead ? "quiet" : p);
      g.fill(path(p));
      g.restore();
    });
  }

  // hatch marks what is over the limit, for who sees no colours.
  private hatch(g: CanvasRenderingContext2D, x: number, y: number, w: number, h: number): void {
    g.save();
    g.beginPath();
    g.rect(x, y, w, h);
    g.clip();
    g.strokeStyle = colour("sheet");
    g.lineWidth = 1;
    for (let at = y - w; at < y + h; at += 4) {
      g.moveTo(x, at + w);
      g.lineTo(x + w, at);
    }
    g.stroke();
    g.restore();
  }

  private inkOf(b: Berth, line: LineFrame, well: Colour): Colour {
    if (this.dead || isOld(b, loadOf(b, line))) return "edge";
    return this.flags.get(line.id) ?? well;
  }

  private y(s: number): number { return Math.round(this.canvas.height * (1 - Math.min(top, Math.max(0, s)) / top)); }
  private bar(): number { return Math.max(2, Math.round(this.canvas.width / (this.berth?.frame.lines.length ?? 1) / 7)); }
  private gap(): number { return Math.max(1, Math.round(this.bar() / 2)); }

  private drawCourses(b: Berth): void {
    const g = this.courses.getContext("2d");
    if (!g) return;
    const { width, height } = this.courses;
    const lines = b.frame.lines;
    const each = width / lines.length;
    g.clearRect(0, 0, width, height);
    const newest = Math.max(0, ...[...b.course.values()].map((spans) => spans.at(-1)?.[0] ?? 0));
    const limit = this.y(1) + 0.5;
    lines.forEach((line, i) => {
      const left = i * each;
      if (i > 0 && lines[i - 1]?.group !== line.group) {
        g.fillStyle = colour("edge");
        g.fillRect(Math.round(left), 0, 1, height);
      }
      const x0 = left + this.gap();
      const x1 = Math.round(left + each - this.gap()) - this.bar() - 1;
      g.fillStyle = colour("axis");
      g.fillRect(Math.round(x0), limit, Math.round(left + each - this.gap()) - Math.round(x0), height - limit);
      this.drawCourse(g, b, line, newest, x0, x1);
    });
    g.fillStyle = colour(this.dead ? "edge" : "ink");
    g.fillRect(0, Math.round(limit), width, Math.max(1, Math.round(devicePixelRatio || 1)));
  }

  private drawCourse(g: CanvasRenderingContext2D, b: Berth, line: LineFrame, newest: number, x0: number, x1: number): void {
    const spans = b.course.get(line.id) ?? [];
    const x = (s: Span): number => x1 - (newest - s[0]) * ((x1 - x0) / (mostSpans - 1));
    const y = (kN: number): number => this.canvas.height * (1 - Math.min(top, Math.max(0, kN / line.limit)) / top);
    for (const run of runs(spans)) {
      g.beginPath();
      for (const s of run) g.lineTo(x(s), y(s[3]));
      for (const s of run.toReversed()) g.lineTo(x(s), y(s[1]));
      g.closePath();
      g.fillStyle = colour("band");
      g.fill();
      g.beginPath();
      for (const s of run) g.lineTo(x(s), y(s[2]));
      g.strokeStyle = colour(this.inkOf(b, line, "load"));
      g.lineWidth = Math.max(1, 1.25 * (devicePixelRatio || 1));
      g.stroke();
    }
  }
}

// runs cuts a course where spans are missing: a gap is not drawn over.
export function runs(spans: readonly Span[]): Span[][] {
  const all: Span[][] = [];
  for (const s of spans) {
    const last = all.at(-1)?.at(-1);
    if (last && s[0] - last[0] <= 1) all.at(-1)?.push(s);
    else all.push([s]);
  }
  return all;
}
