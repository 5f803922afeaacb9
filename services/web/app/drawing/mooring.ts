// The drawing of a mooring from above, to scale: the one drawing that the berth's
// page, its past and the plan's page share. Nothing in it is told by colour alone,
// and no place in it is drawn as safe, because there is none.
import "./drawing.css";
import { attribute, el, svg, text } from "../lib/dom";
import { figure, unit } from "../lib/units";
import { percent, place, say } from "../lib/words";
import { badges } from "./badges";
import { lay, type Layout, type Sizes, type XY } from "./layout";
import type { Geometry, LineGeometry } from "./plan";
import { quay } from "./quay";
import { rope, width } from "./rope";
import { forms, urgent, type LineScene, type Scene } from "./scene";
import { Ship } from "./ship";
import { onWidth } from "./width";
import { wind } from "./wind";

const none: LineScene = { form: "silent" };

interface Drawn {
  line: LineGeometry;
  fairlead: XY;
  hook: XY;
  group: SVGGElement;
  rope: SVGPathElement;
  core: SVGPathElement;
  badge: SVGGElement;
  badgeText: SVGTextElement;
  badgeBox: SVGRectElement;
  label: SVGGElement;
  load: SVGTextElement;
  share: SVGTextElement;
  word: SVGTextElement;
}

export class Mooring {
  readonly element = el("div", { class: "mooring" });
  // onSelect is told of the line whose label was chosen, "" for none.
  onSelect: (id: string) => void = () => {};
  private readonly sheet = svg("svg", { class: "sheet-of-mooring", role: "group" });
  private geometry: Geometry | undefined;
  private scene: Scene | undefined;
  private layout: Layout | undefined;
  private lines = new Map<string, Drawn>();
  private selected = "";
  private shareW = 0;
  private px = 0;
  private badged = "";
  private blown = "";
  private ship: Ship | undefined;
  private readonly wind = svg("g", { class: "wind" });

  constructor() {
    this.element.append(this.sheet);
    onWidth(this.element, () => this.fit());
    this.sheet.addEventListener("keydown", (e) => this.key(e));
  }

  // plan draws another plan.
  plan(g: Geometry): void {
    this.geometry = g;
    this.layout = undefined;
    if (!g.lines.some((l) => l.id === this.selected)) this.selected = "";
    this.fit();
  }

  // show shows how the mooring stands.
  show(s: Scene): void {
    this.scene = s;
    if (!this.layout) return;
    attribute(this.sheet, "data-kind", s.kind);
    for (const d of this.lines.values()) this.showLine(d, s.lines.get(d.line.id) ?? none, s.kind);
    this.showBadges(s);
    const blown = `${s.kind} ${s.wind} ${s.from}`;
    if (blown !== this.blown) this.wind.replaceChildren(...wind(s, this.layout, this.em()));
    this.blown = blown;
    this.ship?.drafts(s.fwd, s.aft);
  }

  // showBadges places the numbers anew where other lines have one.
  private showBadges(s: Scene): void {
    const marked = [...this.lines.values()].filter((d) => urgent(this.formOf(d), s.kind));
    const shown = marked.map((d) => d.line.id + this.formOf(d)).join(" ");
    if (shown === this.badged) return;
    this.badged = shown;
    badges(marked, this.em());
  }

  // select marks a line, "" for none.
  select(id: string): void {
    this.selected = id;
    for (const d of this.lines.values()) {
      d.group.classList.toggle("selected", d.line.id === id);
      attribute(d.label, "aria-pressed", String(d.line.id === id));
    }
  }

  private formOf(d: Drawn): LineScene["form"] { return (this.scene?.lines.get(d.line.id) ?? none).form; }

  // em is the sheet's, px, as it was laid out.
  private em(): number { return (this.px ||= parseFloat(getComputedStyle(this.element).fontSize)); }

  // fit lays the sheet out anew where its room has changed.
  private fit(): void {
    const w = Math.floor(this.element.clientWidth);
    if (!this.geometry || w === 0 || (this.layout && this.layout.w === w)) return;
    const focus = document.activeElement instanceof SVGElement && this.sheet.contains(document.activeElement) ? document.activeElement.dataset["line"] : undefined;
    this.px = 0;
    this.layout = lay(this.geometry, this.sizes(w));
    this.draw(this.geometry, this.layout);
    if (this.scene) this.show(this.scene);
    this.select(this.selected);
    if (focus) this.lines.get(focus)?.label.focus();
  }

  // sizes measures what labels may come to say.
  private sizes(w: number): Sizes {
    const em = this.em();
    const pen = document.createElement("canvas").getContext("2d");
    const font = getComputedStyle(this.element).fontFamily;
    const measure = (t: string, size: number): number => {
      if (!pen) return t.length * size * em * 0.62;
      pen.font = `700 ${size * em}px ${font}`;
      return pen.measureText(t).width;
    };
    const words = Math.max(...forms.map((f) => measure(say(`drawing.form.${f}`), 0.86)));
    const ids = Math.max(...(this.geometry?.lines ?? []).map((l) => measure(l.id, 1)));
    const load = measure(`≈${figure(Math.max(...(this.geometry?.lines ?? []).map((l) => l.mbl_kN)))}`, 1);
    const share = measure(percent(1.22), 0.93);
    this.shareW = share;
    const labelW = Math.ceil(Math.max(words, ids, load, share) + 0.5 * em);
    const rowW = Math.ceil(Math.max(ids + load + share + 1.6 * em, words + ids + em) + 0.6 * em);
    return { w, em, label: { w: labelW, h: 4.5 * em }, row: { w: rowW, h: 2.3 * em } };
  }

  private draw(g: Geometry, lay: Layout): void {
    const em = this.em();
    const s = this.sheet;
    s.replaceChildren();
    this.badged = this.blown = "";
    attribute(s, "viewBox", `0 0 ${lay.w} ${lay.h}`);
    attribute(s, "width", String(lay.w));
    attribute(s, "height", String(lay.h));
    attribute(s, "aria-label", say("drawing.title", { ship: g.ship.name, berth: g.berth }));
    s.classList.toggle("tall", lay.tall);
    this.ship = new Ship(g, lay, em);
    s.append(...quay(g, lay, em), ...this.ship.elements);
    this.ship.fit();
    const ropes = svg("g", { "aria-hidden": "true" });
    const labels = svg("g", { role: "group", "aria-label": say("drawing.lines") });
    this.lines = new Map();
    // Labels follow each other as on the sheet, so that the keys go that way too.
    const order = [...lay.labels.keys()];
    for (const id of order) {
      const l = g.lines.find((x) => x.id === id);
      if (l) this.drawLine(l, lay, em, ropes, labels);
    }
    s.append(ropes, labels);
    for (const d of this.lines.values()) s.append(d.badge);
    s.append(this.wind);
    this.first()?.setAttribute("tabindex", "0");
  }

  private drawLine(l: LineGeometry, lay: Layout, em: number, ropes: SVGGElement, labels: SVGGElement): void {
    const place = lay.labels.get(l.id);
    if (!place) return;
    const fairlead = lay.at(l.fairlead[0], l.fairlead[1]);
    const hook = lay.at(l.hook[0], l.hook[1]);
    const leader = svg("line", { class: "leader", x1: place.from.x, y1: place.from.y, x2: place.to.x, y2: place.to.y });
    const path = svg("path", { class: "rope" });
    const core = svg("path", { class: "core" });
    const group = svg("g", { class: "line" }, leader, path, core,
      svg("circle", { class: "fairlead", cx: fairlead.x, cy: fairlead.y, r: 0.17 * em }),
      svg("circle", { class: "hook", cx: hook.x, cy: hook.y, r: 0.26 * em }));
    ropes.append(group);
    const badgeBox = svg("rect", { rx: 0.25 * em, height: 1.35 * em });
    const badgeText = svg("text", { "text-anchor": "middle" });
    const badge = svg("g", { class: "badge", "aria-hidden": "true" }, badgeBox, badgeText);
    const box = svg("rect", { class: "box", x: place.x, y: place.y, width: place.w, height: place.h, rx: 0.2 * em });
    const t = (cls: string, x: number, y: number, anchor: string): SVGTextElement => svg("text", { class: cls, x, y, "text-anchor": anchor });
    const mid = place.x + place.w / 2;
    const right = place.x + place.w - 0.3 * em;
    const left = place.x + 0.3 * em;
    const [id, load, share, word] = lay.tall
      ? [t("id", left, place.y + 0.95 * em, "start"), t("load", right - this.shareW - 0.6 * em, place.y + 0.95 * em, "end"), t("share", right, place.y + 0.95 * em, "end"), t("word", right, place.y + 2 * em, "end")]
      : [t("id", mid, place.y + 1.0 * em, "middle"), t("load", mid, place.y + 2.1 * em, "middle"), t("share", mid, place.y + 3.1 * em, "middle"), t("word", mid, place.y + 4.15 * em, "middle")];
    id.textContent = l.id;
    const label = svg("g", { class: "label", role: "button", tabindex: -1, "data-line": l.id, "aria-pressed": "false" }, box, id, load, share, word);
    label.addEventListener("click", () => this.choose(l.id));
    labels.append(label);
    this.lines.set(l.id, { line: l, fairlead, hook, group, rope: path, core, badge, badgeText, badgeBox, label, load, share, word });
  }

  private showLine(d: Drawn, s: LineScene, kind: Scene["kind"]): void {
    const marked = urgent(s.form, kind);
    const em = this.em();
    const l = d.line;
    const kN = s.kN ?? s.about;
    const share = kN === undefined ? undefined : kN / l.working_load_kN;
    const believed = s.form !== "parted" && s.form !== "doubt" && s.form !== "silent" && s.form !== "fault";
    const course = rope(d.fairlead, d.hook, s.form, em);
    const thick = s.form === "parted" ? 0.22 : s.form === "over" ? Math.max(0.7, width(share)) : width(believed ? share : undefined);
    attribute(d.rope, "d", course);
    attribute(d.rope, "stroke-width", (thick * em).toFixed(1));
    attribute(d.core, "d", s.form === "over" ? course : "M0 0");
    if (d.group.getAttribute("data-form") !== s.form && marked) d.group.parentNode?.append(d.group); // over its neighbours
    attribute(d.group, "data-form", s.form);
    attribute(d.label, "data-form", s.form);
    const load = kN === undefined || s.form === "parted" ? say("drawing.none") : s.kN === undefined ? `≈${figure(kN)}` : s.form === "fault" ? `${figure(kN)}?` : figure(kN);
    text(d.load, load);
    text(d.share, share === undefined || !believed ? "" : percent(share));
    text(d.word, s.form === "steady" ? "" : say(`drawing.form.${s.form}`));
    attribute(d.label, "aria-label", [place(l.id, l.group), kN === undefined ? "" : `${load} ${unit()}`, d.share.textContent && say("drawing.of-limit", { share: d.share.textContent }), d.word.textContent].filter(Boolean).join(", "));
    if (!marked) d.badge.toggleAttribute("hidden", true);
    attribute(d.badge, "data-form", s.form);
    text(d.badgeText, s.form === "parted" ? `✕ ${l.id}` : l.id);
  }

  private choose(id: string): void {
    this.select(this.selected === id ? "" : id);
    this.onSelect(this.selected);
  }

  private first(): SVGGElement | undefined {
    return (this.lines.get(this.selected) ?? [...this.lines.values()][0])?.label;
  }

  // key goes from label to label with the arrows and chooses with Enter or space.
  private key(e: KeyboardEvent): void {
    const all = [...this.lines.values()];
    const at = all.findIndex((d) => d.label === document.activeElement);
    if (at < 0) return;
    const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[e.key];
    const to = step !== undefined ? all[(at + step + all.length) % all.length] : e.key === "Home" ? all[0] : e.key === "End" ? all.at(-1) : undefined;
    if (to) {
      for (const d of all) attribute(d.label, "tabindex", d === to ? "0" : "-1");
      to.label.focus();
    } else if (e.key === "Enter" || e.key === " ") {
      this.choose(all[at]?.line.id ?? "");
    } else {
      return;
    }
    e.preventDefault();
  }
}
