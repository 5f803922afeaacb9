// The deck: one berth on a phone, in the hand of somebody who has other things to
// hold. Large, plain, by touch alone; it says at once when it is not live.
import { Alarms } from "./deck/alarms";
import { install } from "./deck/install";
import { Lines } from "./deck/lines";
import { Sound } from "./deck/sound";
import { Summary } from "./deck/summary";
import { el, inOrder, must } from "./lib/dom";
import { Live } from "./lib/live";
import { setup } from "./lib/setup";
import { shell } from "./lib/shell";
import { say } from "./lib/words";
import "./deck.css"; // after the shell's, which it changes

const live = new Live();
shell(live);
install();

// A crew sees one berth, its own; who sees several says which.
function berth(): string | undefined {
  return setup.berth ?? (live.picture.names.length === 1 ? live.picture.names[0] : undefined);
}

const main = must("#main");
const choice = el("ul", { class: "choice" });
const sound = new Sound(live, berth);
const summary = new Summary(live, berth);
const parts = [summary, new Alarms(live, berth), { root: el("div", { class: "beside" }, summary.facts, sound.root), draw: () => {} }, new Lines(live, berth)];
const title = el("h1", { class: "unseen" }, say("deck.title"));

function draw(): void {
  if (berth() !== undefined) {
    inOrder(main, [title, ...parts.map((p) => p.root)]);
    parts.forEach((p) => p.draw());
    return;
  }
  inOrder(choice, live.picture.names.map((name) =>
    el("li", {}, el("a", { href: `/deck?berth=${encodeURIComponent(name)}` }, `${live.picture.berths.get(name)?.frame.ship ?? ""} · ${name}`))));
  inOrder(main, [title, el("p", { class: "ask" }, say(live.picture.names.length ? "deck.which" : "deck.no-berth")), choice]);
}
live.subscribe((c) => {
  if (berth() !== undefined || c.names) draw();
});
live.eachSecond(() => {
  if (berth() !== undefined) parts.forEach((p) => p.draw());
});
draw();
