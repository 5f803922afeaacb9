// The terminal: all berths at once. In two seconds: is anything wrong, where, and
// what to do.
import "./terminal.css";
import { AlarmList } from "./lib/alarmlist";
import { el, must } from "./lib/dom";
import { Live } from "./lib/live";
import { shell } from "./lib/shell";
import { count, say } from "./lib/words";
import { Board } from "./terminal/board";
import { Chosen } from "./terminal/chosen";
import { Verdict } from "./terminal/verdict";

const live = new Live();
shell(live);

const alarms = new AlarmList(live, (active, waiting) => {
  document.title = document.title.replace(/^(\(\d+\) )?/, waiting > 0 ? `(${waiting}) ` : "");
  if (active === 0) return say("terminal.no-alarms");
  return waiting > 0 ? count("terminal.active-waiting", active, { waiting }) : count("terminal.active", active);
});
const chosen = new Chosen(live, () => board.choose(undefined));
const board = new Board(live, (name) => {
  chosen.show(name);
  alarms.only(name);
});
must("#main").append(el("h1", { class: "unseen" }, say("terminal.title")), new Verdict(live).root,
  el("div", { class: "side" }, chosen.root, alarms.root, el("p", { class: "small" }, say("terminal.legend"))), board.root);

addEventListener("keydown", (e) => {
  if (e.key === "Escape" && board.chosen !== undefined && !document.querySelector("dialog[open]")) board.choose(undefined);
});
