// Loads in the unit that the viewer has chosen. Inside, all are kN.
import { settings } from "./settings";
import { count, number, say } from "./words";

// standardGravity is exact by definition (3rd CGPM, 1901), m/s².
const standardGravity = 9.80665;

// tonnes gives kN in tonnes-force.
export function tonnes(kN: number): number { return kN / standardGravity; }

// figure writes a load without its unit.
export function figure(kN: number): string {
  return settings.unit === "t" ? number(tonnes(kN), 1) : number(kN);
}

// unit is the unit's sign.
export function unit(): string { return say(settings.unit === "t" ? "mooring.t" : "mooring.kN"); }

// load writes a load.
export function load(kN: number): string { return `${figure(kN)}\u00a0${unit()}`; }

const knot = 1852 / 3600; // m/s; an international nautical mile is 1852 m

// wind writes a wind of so many m/s, and where it comes from, where that is told; in
// knots too, as ships' people and "hawser assess" have it.
export function wind(speed: number, from?: number): string {
  const words = { speed: number(speed, 1), knots: number(speed / knot) };
  return from === undefined ? say("mooring.wind-speed", words)
    : say("mooring.wind-from", { ...words, from: String(Math.round(from) % 360).padStart(3, "0") });
}

// measure writes a value of an alarm in its own unit, loads in the viewer's, and what
// is counted in the reader's language.
export function measure(v: number, of: string | undefined): string {
  if (of === "kN") return load(v);
  switch (of) {
    case "load pins": return count("alarm.load-pins", v);
    case "batches": return count("alarm.batches", v);
    case "destinations": return count("alarm.destinations", v);
  }
  const text = number(v, Math.abs(v) >= 100 || Number.isInteger(v) ? 0 : Math.abs(v) >= 10 ? 1 : 2);
  return of ? `${text}\u00a0${of}` : text;
}
