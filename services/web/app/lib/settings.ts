// What a device keeps of its viewer's choices. Theme and language are cookies, for
// the server draws by them; the rest stays in the browser.
import { setup } from "./setup";
import type { Side } from "./wire";

export type Theme = "device" | "light" | "dark";
export type Unit = "kN" | "t";

function stored(key: string): string {
  try {
    return localStorage.getItem(key) ?? "";
  } catch {
    return ""; // storage is off: nothing is kept
  }
}

function store(key: string, value: string): void {
  try {
    localStorage.setItem(key, value);
  } catch {
    // it holds as long as the page does
  }
}

// setCookie keeps a choice for the server to see, for a year; "" takes it away.
function setCookie(name: string, value: string): void {
  const age = value === "" ? 0 : 31_536_000;
  document.cookie = `${name}=${value}; path=/; max-age=${age}; samesite=strict`;
}

const changed = new Set<() => void>();
const tell = (): void => changed.forEach((fn) => fn());

// onSettings calls fn whenever a choice has changed.
export function onSettings(fn: () => void): void { changed.add(fn); }

let unit: Unit = stored("unit") === "t" ? "t" : "kN";
let by = stored("by") || (setup.who ?? "");
let side: Side = setup.side ?? (stored("side") === "ship" ? "ship" : "terminal");

export const settings = {
  get unit(): Unit { return unit; },
  set unit(v: Unit) { unit = v; store("unit", v); tell(); },

  // by is the name that goes on record.
  get by(): string { return by; },
  set by(v: string) { by = v.trim(); store("by", by); tell(); },

  get side(): Side { return side; },
  set side(v: Side) { side = v; store("side", v); tell(); },

  get theme(): Theme {
    const t = document.documentElement.dataset["theme"];
    return t === "light" || t === "dark" ? t : "device";
  },
  set theme(v: Theme) {
    if (v === "device") delete document.documentElement.dataset["theme"];
    else document.documentElement.dataset["theme"] = v;
    setCookie("theme", v === "device" ? "" : v);
    tell();
  },

  // setLanguage draws the page anew in another language.
  setLanguage(tag: string): void {
    setCookie("lang", tag);
    const to = new URL(location.href);
    to.searchParams.delete("lang");
    location.replace(to);
  },
};

// A second window of the same device follows.
addEventListener("storage", (e) => {
  if (e.key === "unit") unit = e.newValue === "t" ? "t" : "kN";
  else if (e.key === "by") by = e.newValue ?? "";
  else return;
  tell();
});
