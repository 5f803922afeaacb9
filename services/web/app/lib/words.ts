// Texts in the reader's language. Every one is in services/web/words; none is in a
// script. The keys are checked when types are.
import type english from "../../words/en-GB.json";
import { setup } from "./setup";

type Words = typeof english;
export type Key = { [S in keyof Words & string]: `${S}.${keyof Words[S] & string}` }[keyof Words & string];
// A Stem is a key with its endings .one and .other left off.
export type Stem = Key extends infer K ? (K extends `${infer S}.one` ? S : never) : never;
export type Values = Record<string, string | number>;

function find(key: string): string | undefined {
  const dot = key.indexOf(".");
  return setup.words[key.slice(0, dot)]?.[key.slice(dot + 1)];
}

function fill(text: string, values: Values): string {
  return text.replace(/\{(\w+)\}/g, (place, name: string) => String(values[name] ?? place));
}

// say gives a text with values in its places.
export function say(key: Key, values: Values = {}): string {
  return fill(find(key) ?? key, values);
}

// has tells whether there is a text for a key that is made up of data.
export function has(key: string): key is Key {
  return find(key) !== undefined;
}

const plurals = new Intl.PluralRules(setup.lang);

// count gives the text for so many; {n} is the number.
export function count(stem: Stem, n: number, values: Values = {}): string {
  const form = plurals.select(n) === "one" ? "one" : "other";
  return fill(find(`${stem}.${form}`) ?? stem, { n, ...values });
}

const lists = new Intl.ListFormat(setup.lang);

// listed writes the numbers of lines, in their order: 1, 2 and 10.
export function listed(lines: readonly string[]): string {
  return lists.format([...lines].sort((a, b) => a.localeCompare(b, setup.lang, { numeric: true })));
}

const formats = new Map<number, Intl.NumberFormat>();

// number writes a figure with so many decimals, as the language does, a half to even as
// reports, commands and the texts of alarms have it.
export function number(v: number, decimals = 0): string {
  let format = formats.get(decimals);
  if (!format) {
    format = new Intl.NumberFormat(setup.lang, {
      minimumFractionDigits: decimals, maximumFractionDigits: decimals, useGrouping: false, signDisplay: "negative", roundingMode: "halfEven",
    });
    formats.set(decimals, format);
  }
  return format.format(v).replace("-", "\u2212");
}

// percent writes a share.
export function percent(share: number): string {
  return say("mooring.percent", { n: number(100 * share) });
}

// condition names a condition of alarms; one with an ending of its own by its stem.
export function condition(name: string): string {
  for (let stem = name; stem !== ""; stem = stem.slice(0, Math.max(0, stem.lastIndexOf("-")))) {
    const key = `alarm.condition.${stem}`;
    if (has(key)) return say(key);
  }
  return name;
}

// place names what an alarm is on: a line, a group, a gateway or nothing.
export function place(line: string | undefined, group: string | undefined, source?: string): string {
  if (!line && !group && source) return say("mooring.gateway", { source });
  const all = `mooring.all.${group ?? ""}`;
  const one = `mooring.one.${group ?? ""}`;
  if (!line) return has(all) ? say(all) : (group ?? "");
  return has(one) ? say("mooring.line-of", { line, group: say(one) }) : say("mooring.line", { line });
}
