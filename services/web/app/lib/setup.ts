// What the server put into the page for its script to begin with.
import type { Message, Side } from "./wire";

export interface Setup {
  lang: string;
  langs: string[];
  words: Record<string, Record<string, string>>;
  berth?: string; // that the page is of
  pages: Record<string, string>; // paths by name, of the pages there are
  side?: Side; // the caller's, where one signs in
  who?: string;
  build: string;
  mark?: string; // of whole, for /live?after=
  whole?: Message; // without courses
  shelf: number; // longest time on a shelf, ms
  signed: boolean; // one signs in here
  may?: string[]; // calls of the page's own controls, where one signs in
}

function read(): Setup {
  const data = document.getElementById("setup")?.textContent;
  if (!data) throw new Error("the page has no setup");
  return JSON.parse(data) as Setup;
}

export const setup: Setup = read();

// mayCall tells whether the caller may make a call of the page's own controls.
export function mayCall(call: string): boolean { return !setup.signed || (setup.may?.includes(call) ?? false); }
