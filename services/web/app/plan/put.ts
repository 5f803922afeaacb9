// The last look before a plan is put in force.
import { el, text } from "../lib/dom";
import { settings } from "../lib/settings";
import { setup } from "../lib/setup";
import { count, say } from "../lib/words";
import type { Findings } from "./desk";

// putDialog asks for the name and does the deed; done gives why it was not done.
export function putDialog(f: Findings, opener: HTMLElement, done: (by: string) => Promise<string | undefined>): void {
  const by = el("input", { required: true, maxlength: 80, autocomplete: "name", value: settings.by });
  const undone = el("p", { class: "bad", role: "alert" });
  const cancel = el("button", { type: "button", class: "quiet" }, say("alarm.cancel"));
  const go = el("button", { type: "submit" }, say("plan.put"));
  const serious = f.remarks.filter((r) => r.severity === "serious").length;
  const form = el("form", {},
    el("h2", { id: "put-title" }, say("plan.put-title", { ship: f.geometry?.ship.name ?? "", berth: f.geometry?.berth ?? "" })),
    el("p", {}, f.in_force ? count("plan.changed", f.changes.length) : say("plan.new")),
    serious > 0 && el("p", { class: "bad" }, count("plan.serious", serious)),
    el("p", {}, say("plan.put-means")),
    !setup.signed && el("label", {}, el("span", {}, say("shell.name")), by),
    undone, el("div", { class: "deeds" }, go, cancel));
  const dialog = el("dialog", { "aria-labelledby": "put-title" }, form);
  cancel.addEventListener("click", () => dialog.close());
  form.addEventListener("submit", (e) => {
    e.preventDefault();
    go.disabled = true;
    void done(by.value.trim()).then((why) => {
      go.disabled = false;
      if (why === undefined) dialog.close();
      else text(undone, why);
    });
  });
  dialog.addEventListener("close", () => { dialog.remove(); opener.focus(); });
  document.body.append(dialog);
  dialog.showModal();
}
