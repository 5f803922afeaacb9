// Asks for what a deed needs: who does it, why, for how long.
import { el } from "./dom";
import { setup } from "./setup";
import { settings } from "./settings";
import { span } from "./time";
import { say } from "./words";

export interface Asked { note: string; minutes: number }

interface Options {
  title: string; // of the deed
  about: string; // what it is done to
  note: "none" | "note" | "needed" | "reason"; // the last two have to say something
  shelf?: boolean; // for how long
}

const shelves = [30, 60, 240, 480]; // minutes

// ask opens a dialog and gives what was filled in, undefined where it was left.
// The name stays on the device.
export function ask(o: Options): Promise<Asked | undefined> {
  const by = el("input", { name: "by", required: true, maxlength: 80, autocomplete: "name", value: settings.by });
  const note = el("textarea", { name: "note", maxlength: 500, rows: 2, required: o.note === "reason" || o.note === "needed" });
  const period = el("select", { name: "period" });
  for (const m of shelves) if (m * 60_000 <= setup.shelf) period.append(el("option", { value: m }, span(m * 60_000)));
  const cancel = el("button", { type: "button", class: "quiet" }, say("alarm.cancel"));
  const form = el("form", { method: "dialog" },
    el("h2", { id: "deed-title" }, o.title),
    el("p", {}, o.about),
    el("label", {}, el("span", {}, say("shell.name")), by),
    o.shelf && el("label", {}, el("span", {}, say("alarm.period")), period),
    o.note !== "none" && el("label", {}, el("span", {}, say(o.note === "reason" ? "alarm.reason" : "alarm.note")), note),
    el("p", { class: "deeds" }, el("button", { type: "submit" }, o.title), cancel));
  const dialog = el("dialog", { class: "deed", "aria-labelledby": "deed-title" }, form);
  document.body.append(dialog);
  dialog.showModal();
  (settings.by && o.note !== "none" ? note : by).focus();
  return new Promise((done) => {
    let asked: Asked | undefined;
    form.addEventListener("submit", () => {
      settings.by = by.value;
      asked = { note: note.value.trim(), minutes: Number(period.value) };
    });
    cancel.addEventListener("click", () => dialog.close());
    dialog.addEventListener("close", () => { dialog.remove(); done(asked); });
  });
}
