// Levels by another implementation of the harmonic method, for the tests beside
// it. Run once, by hand, when the stations or the times change:
//
//	npm install && node reference.mjs > reference.csv
//
// A series is a station of stations.csv, or a constituent by itself at 1 m and
// lag 0. M1 and M3 are left out: that implementation counts the perigee of M1
// twice and turns M3 by 180 degrees against Schureman. The tests hold them to
// published arguments instead.
import { readFileSync } from "node:fs";
import { createTidePredictor } from "@neaps/tide-predictor";

const rows = readFileSync(new URL("stations.csv", import.meta.url), "utf8")
  .split("\n").filter((l) => l && !l.startsWith("#")).slice(1).map((l) => l.split(","));
const stations = {};
for (const [station, name, amplitude, lag] of rows) {
  (stations[station] ??= []).push({ name, amplitude: Number(amplitude), phase: Number(lag) });
}

// Two days at an hour's step, over ends of years, leap days, the nights when
// clocks go forward and back, and once round the moon's node.
const spans = ["1999-12-31", "2000-02-28", "2019-06-01", "2024-02-28", "2025-12-31", "2026-03-28",
  "2026-10-24", "2028-02-28", "2031-08-15", "2035-04-02", "2038-12-31"];
// One moment a year, off the full hour, for each constituent.
const moments = Array.from({ length: 20 }, (_, i) => new Date(Date.UTC(2020 + i, (5 * i) % 12, 1 + i, i, 7)));

const level = (waves, time) =>
  createTidePredictor(waves, { nodeCorrections: "schureman" })
    .getTimelinePrediction({ start: time, end: new Date(time.getTime() + 1000), timeFidelity: 1 })[0].level;
const print = (series, time, waves) =>
  console.log(`${series},${time.toISOString().replace(".000", "")},${level(waves, time).toFixed(5)}`);

console.log("# by @neaps/tide-predictor 0.11.0 (MIT), node corrections schureman; metres about the mean level");
console.log("series,time,level_m");
for (const [name, waves] of Object.entries(stations)) {
  for (const day of spans) {
    for (let hour = 0; hour <= 48; hour++) {
      print(name, new Date(Date.parse(day + "T00:00:00Z") + hour * 3600e3), waves);
    }
  }
}
for (const { name } of stations["invented"]) {
  for (const time of moments) print(name, time, [{ name, amplitude: 1, phase: 0 }]);
}
