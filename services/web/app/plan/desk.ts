// What services/plans answers about plans.
import type { Assessment } from "../berth/assess";
import type { Geometry } from "../drawing/plan";
import { say } from "../lib/words";

export interface Fault { line: number; col: number; path: string; want: string }
export interface Remark { severity: "serious" | "poor" | "note"; lines: string[]; text: string; rule: string; says: string; source: string }
export interface Change { line: string; path: string; was: string; is: string }
export interface Findings { plan?: string; in_force?: string; faults: Fault[]; remarks: Remark[]; geometry: Geometry | null; changes: Change[] }
export interface Version { plan: string; ship: string; lines: number; at: string; by?: string }
export interface Versions { in_force: string; versions: Version[] }

async function call(method: string, path: string, query: Record<string, string>, body?: string, headers: Record<string, string> = {}): Promise<Response> {
  let answer: Response;
  try {
    answer = await fetch(`${path}?${new URLSearchParams(query)}`, {
      method, cache: "no-store", headers: body === undefined ? headers : { "Content-Type": "application/yaml", ...headers }, signal: AbortSignal.timeout(20_000),
      ...(body === undefined ? {} : { body }),
    });
  } catch {
    throw new Error(say("plan.no-answer"));
  }
  if (answer.ok) return answer;
  if (answer.status === 401 || answer.status === 403) throw new Error(say("plan.not-allowed"));
  if (answer.status === 412 || answer.status === 428) throw new Error(say("plan.meanwhile"));
  if (answer.status === 413) throw new Error(say("plan.too-long"));
  if (answer.status === 422) throw new Error(say("plan.faulty"));
  throw new Error((await answer.text()).trim() || say("plan.no-answer"));
}

export const plans = {
  most: 256 * 1024, // bytes of a plan
  check: async (berth: string, text: string): Promise<Findings> => (await (await call("POST", "/api/plan/check", { berth }, text)).json()) as Findings,
  // assess asks what a text's mooring bears in a wind of so many m/s from so many degrees.
  assess: async (text: string, speed: string, from: string): Promise<Assessment> => (await (await call("POST", "/api/plan/assess", { speed, from }, text)).json()) as Assessment,
  text: async (berth: string, version: string): Promise<string> => (await call("GET", "/api/plan/text", { berth, version })).text(),
  versions: async (berth: string): Promise<Versions> => (await (await call("GET", "/api/plan/versions", { berth })).json()) as Versions,
  // put puts a text in force, in place of the plan with a fingerprint.
  put: async (berth: string, by: string, text: string, inPlaceOf: string): Promise<void> => {
    await call("PUT", "/api/plan", { berth, by }, text, inPlaceOf ? { "If-Match": `"${inPlaceOf}"` } : {});
  },
};

// ask gives what was answered or why it was not, in words.
export async function ask<T>(fn: () => Promise<T>): Promise<{ value: T; error?: undefined } | { value?: undefined; error: string }> {
  try {
    return { value: await fn() };
  } catch (e) {
    return { error: e instanceof Error ? e.message : say("plan.no-answer") };
  }
}
