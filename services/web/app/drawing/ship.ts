// The ship: her outline to scale, her name, and her drafts at her ends.
import { attribute, svg, text } from "../lib/dom";
import { number, say } from "../lib/words";
import type { Layout, XY } from "./layout";
import type { Geometry } from "./plan";
import { hull } from "./rope";

export class Ship {
  readonly elements: SVGElement[];
  private readonly name: SVGTextElement;
  private readonly size: SVGTextElement;
  private readonly fwd = svg("text", { class: "small", "text-anchor": "middle" });
  private readonly aft = svg("text", { class: "small", "text-anchor": "middle" });

  constructor(private readonly g: Geometry, private readonly lay: Layout, private readonly em: number) {
    const [x, y] = g.centre;
    const outline = hull(g.ship.loa_m, g.ship.beam_m).map(([a, b]) => lay.at(x + a, y + b));
    const mid = lay.at(x, y);
    this.name = svg("text", { class: "ship", x: mid.x, y: mid.y + 0.1 * em, "text-anchor": "middle" }, g.ship.name);
    this.size = svg("text", { class: "small quiet", x: mid.x, y: mid.y + 1.4 * em, "text-anchor": "middle" },
      say("drawing.size", { loa: number(g.ship.loa_m), beam: number(g.ship.beam_m, 1) }));
    this.stand(this.fwd, lay.at(x + 0.3 * g.ship.loa_m, y));
    this.stand(this.aft, lay.at(x - 0.41 * g.ship.loa_m, y));
    const d = outline.map((p, k) => `${k === 0 ? "M" : "L"}${p.x.toFixed(1)} ${p.y.toFixed(1)}`).join("");
    this.elements = [svg("path", { class: "hull", d: `${d}Z` }), this.name, this.size, this.fwd, this.aft];
  }

  private stand(t: SVGTextElement, at: XY): void {
    attribute(t, "x", String(at.x));
    attribute(t, "y", String(at.y + 0.3 * this.em));
  }

  // fit keeps her name within her once it is in the page: along her on a tall sheet,
  // without her size where she is narrow.
  fit(): void {
    const { g, lay, em } = this;
    const mid = lay.at(g.centre[0], g.centre[1]);
    const deep = (lay.tall ? 0.4 * g.ship.loa_m : g.ship.beam_m) * lay.scale;
    const turned = lay.tall && this.name.getComputedTextLength() > g.ship.beam_m * lay.scale - em;
    if (turned) attribute(this.name, "transform", `rotate(-90 ${mid.x} ${mid.y})`);
    if (turned || deep < 3.6 * em) {
      attribute(this.name, "y", String(mid.y + 0.35 * em));
      this.size.remove();
    }
  }

  // drafts are told in her where there is room beside her name.
  drafts(fwd: number | undefined, aft: number | undefined): void {
    const room = (this.lay.tall ? this.g.ship.beam_m : 0.17 * this.g.ship.loa_m) * this.lay.scale;
    const words = (m: number | undefined): string => (m === undefined || room <= 5.5 * this.em ? "" : say("drawing.draft", { m: number(m, 1) }));
    text(this.fwd, words(fwd));
    text(this.aft, words(aft));
  }
}
