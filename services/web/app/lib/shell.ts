// What every page has around its own part: link, clock, settings.
import "./base.css";
import { el, must, text } from "./dom";
import type { Live } from "./live";
import { settings, type Theme, type Unit } from "./settings";
import { setup } from "./setup";
import { clockLocal, clockUTC, localise, span } from "./time";
import { has, say } from "./words";
import type { Side } from "./wire";

// shell brings the page's frame to life; a page without a live picture has no link.
export function shell(live?: Live): void {
  localise(document);
  settingsButton();
  const clock = must("#clock");
  const utc = el("span", { class: "utc" });
  const here = el("span");
  clock.append(here, " ", utc);
  const tick = (): void => {
    const now = live ? live.now() : Date.now();
    text(here, clockLocal(now));
    text(utc, clockUTC(now));
    if (live) showLink(live);
  };
  tick();
  if (live) {
    live.eachSecond(tick);
    live.subscribe((c) => { if (c.link) showLink(live); });
  } else {
    setInterval(tick, 1000);
  }
}

function showLink(live: Live): void {
  const link = must("#link");
  document.body.classList.toggle("cut", live.link === "cut");
  // The age changes each second and is not read out each time.
  if (live.link !== "cut") {
    text(link, say(live.link === "live" ? "shell.link.live" : "shell.link.waiting"));
    return;
  }
  text(link, say("shell.link.cut", { age: span(live.quiet()) }));
}

function settingsButton(): void {
  const button = must<HTMLButtonElement>("#settings");
  button.hidden = false;
  button.addEventListener("click", () => {
    const dialog = settingsDialog();
    document.body.append(dialog);
    dialog.addEventListener("close", () => { dialog.remove(); button.focus(); });
    dialog.showModal();
  });
}

// field makes a labelled choice.
function field<T extends string>(label: string, options: readonly [T, string][], value: T, change: (v: T) => void): HTMLElement {
  const select = el("select");
  for (const [v, name] of options) select.append(el("option", { value: v, selected: v === value }, name));
  select.addEventListener("change", () => change(select.value as T));
  return el("label", {}, el("span", {}, label), select);
}

function settingsDialog(): HTMLDialogElement {
  const themes: [Theme, string][] = [["device", say("shell.theme.device")], ["light", say("shell.theme.light")], ["dark", say("shell.theme.dark")]];
  const units: [Unit, string][] = [["kN", say("shell.units.kN")], ["t", say("shell.units.t")]];
  const sides: [Side, string][] = [["terminal", say("shell.side.terminal")], ["ship", say("shell.side.ship")]];
  const languages = setup.langs.map((tag): [string, string] => {
    const key = `shell.language.${tag}`;
    return [tag, has(key) ? say(key) : tag];
  });
  const by = el("input", { maxlength: 80, autocomplete: "name", value: settings.by });
  by.addEventListener("change", () => { settings.by = by.value; });
  const close = el("button", { type: "submit" }, say("shell.close"));
  return el("dialog", { class: "settings", "aria-labelledby": "settings-title" },
    el("form", { method: "dialog" },
      el("h2", { id: "settings-title" }, say("shell.settings")),
      field(say("shell.theme"), themes, settings.theme, (v) => { settings.theme = v; }),
      field(say("shell.units"), units, settings.unit, (v) => { settings.unit = v; }),
      field(say("shell.language"), languages, setup.lang, (v) => settings.setLanguage(v)),
      el("label", {}, el("span", {}, say("shell.name")), by),
      !setup.signed && field(say("shell.side"), sides, settings.side, (v) => { settings.side = v; }),
      el("p", { class: "small" }, say("shell.settings-kept")),
      el("p", {}, close)));
}
