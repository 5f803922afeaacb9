// The terminal: all berths at once.
import { el, inOrder, must, text } from "./lib/dom";
import { Live } from "./lib/live";
import { shell } from "./lib/shell";
import { load } from "./lib/units";
import { condition, place, say } from "./lib/words";

const live = new Live();
shell(live);

// Drawn plainly until the page has its form.
const alarms = el("ol", { class: "plain" });
const berths = el("div");
must("#main").append(el("h1", {}, say("terminal.title")), alarms, berths);

function draw(): void {
  inOrder(alarms, live.picture.alarms.list.map((a) => el("li", {}, `${condition(a.condition)} ${place(a.line, a.group)}`)));
  inOrder(berths, live.picture.names.map((name) => {
    const b = live.picture.berths.get(name);
    const p = el("p");
    text(p, `${name}: ${[...(b?.loads ?? [])].map(([id, l]) => `${id} ${l.kN === undefined ? say("mooring.none") : load(l.kN)}`).join(", ")}`);
    return p;
  }));
}
live.subscribe(draw);
draw();
