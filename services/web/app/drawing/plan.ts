// A mooring plan as there is to draw it, as services/plans/geometry.go writes it:
// the plan's frame, metres and kilonewtons.

export type Side = "starboard" | "port";
export type Point = [number, number, number];

export interface Geometry {
  berth: string;
  plan?: string; // fingerprint
  since?: string;
  ship: { name: string; loa_m: number; beam_m: number };
  centre: [number, number];
  side: Side;
  berth_heading_deg: number;
  reference: { draft_fwd_m: number; draft_aft_m: number; water_level_m: number };
  tide: boolean;
  fenders: { x_m: number; z_m: number }[];
  lines: LineGeometry[];
}

export interface LineGeometry {
  id: string;
  group: string;
  fairlead: Point;
  hook: Point;
  length_m: number;
  made_fast: "winch" | "bitts";
  instrumented: boolean;
  mbl_kN: number;
  working_load_kN: number;
  approach_kN: number;
  slack_kN: number;
  pretension_kN: number;
  brake_render_kN?: number;
}
