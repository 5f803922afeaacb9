package main

import (
	"encoding/json"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"hawser/detect/mooring"
)

// assessFlags are the flags of hawser assess.
type assessFlags struct {
	plan, loads   string
	at, from      moment
	wind, current blow
	windHeight    measure
	gusts         bool
	level, hours  measure
	depth         measure
	draft         drafts
	without       []string
	tide, cargo   string
	work          string
	plots         string
	json          bool
}

func newAssess(s streams) *cobra.Command {
	f := assessFlags{
		wind: blow{most: 150}, current: blow{most: 15},
		windHeight: measure{least: 1, most: 150, unit: "M"},
		level:      measure{least: -30, most: 30, unit: "M"},
		hours:      measure{least: 0.1, most: 240, unit: "N"},
		depth:      measure{least: 1, most: 200, unit: "M"},
	}
	cmd := &cobra.Command{
		Use:   "assess --plan PLAN [flags] [--at TIME RECORDING]",
		Short: "Reckon what a mooring bears: a line lost, wind, the hours ahead, what to tend",
		Long: `assess reckons the mooring at rest from its plan: the load of every line, what
follows when a line is lost, the wind it can take from each direction, the hours
ahead, and which winches to work.

Lines carry the plan's pretension with the ship at the plan's reference, unless
loads are given: by --loads, a CSV file with the header line,tension_kN; or by
--at TIME RECORDING, each channel's mean over the minute before TIME; what the
detectors, run over the recording up to then, tell of a line is allowed for: one
that has parted counts for nothing, and the load of a pin at fault is not taken.
Wind comes FROM its direction, current sets TOWARD its own; degrees true. Wind, level and
drafts not given are the recording's where it has them, else no wind and the
plan's reference; where loads are given and nobody tells the wind, they are taken
to be tight from one off the quay. By what a recording has of them its loads are understood; what is
given beside is asked: what then, with the lines as they were set. With --loads it
is what the loads were measured in.

--hours looks ahead by the plan's tide, or in its place that of --tide, a CSV
file time,level_m, and the cargo work of --cargo, a CSV file
time,draft_fwd_m,draft_aft_m, with wind as given.

The word beside a load is the furthest limit it has come to: below, approaching
(the watch warns), working-load (working load limit), brake (its winch brake
renders), breaking (breaking load of main line or tail). Loads are those of the
ship at rest with every line holding; "renders" and "parts" say what gives then.

` + cautions + `

Exit codes: 0 done, 1 could not go on, 2 wrong command or flag, 3 the plan or
another file is wrong (the error names the place), 4 no equilibrium: nothing
holds the ship as asked, and the answer says what force it can hold.`,
		Example: `  hawser assess --plan plan.yaml --wind 35@270
  hawser assess --plan plan.yaml --wind 35@270 --without 3,4
  hawser assess --plan plan.yaml --loads loads.csv --level 0.6 --draft 9.1,9.8
  hawser assess --plan plan.yaml --at 2026-03-01T04:30:00Z recording.csv.gz
  hawser assess --plan plan.yaml --hours 24 --tide tide.csv --cargo cargo.csv
  hawser assess --plan plan.yaml --wind 30@250 --json | jq .without
  hawser assess --plan plan.yaml --wind 30@250 --plots drawings`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			q, err := f.question(args)
			if err != nil {
				return err
			}
			return runAssess(s, &f, q)
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&f.plan, "plan", "", "mooring plan `FILE` (YAML)")
	fl.StringVar(&f.loads, "loads", "", "measured loads, CSV `FILE` line,tension_kN")
	fl.Var(&f.at, "at", "loads of RECORDING: means over the minute before this time, RFC 3339 or Unix milliseconds")
	fl.Var(&f.wind, "wind", "steady wind at 10 m, knots, and where it comes from, degrees true")
	fl.Var(&f.windHeight, "wind-height", "height above water that --wind is given for, metres (default 10)")
	fl.BoolVar(&f.gusts, "gusts", false, "--wind is a mean over ten minutes, as in forecasts: reckon with its strongest half minute, which a moored ship follows")
	fl.Var(&f.current, "current", "steady current, knots, and where it sets toward, degrees true")
	fl.Var(&f.depth, "depth", "depth of water at the berth now, metres: the current's force grows as it falls (default 1.1 times the draft)")
	fl.Var(&f.level, "level", "water level, metres above chart datum")
	fl.Var(&f.draft, "draft", "drafts forward and aft, metres")
	fl.StringSliceVar(&f.without, "without", nil, "lose these `LINES` at once, in place of each in turn")
	fl.Var(&f.hours, "hours", "look this many hours ahead")
	fl.StringVar(&f.tide, "tide", "", "water level over time, CSV `FILE` time,level_m")
	fl.StringVar(&f.cargo, "cargo", "", "drafts over time, CSV `FILE` time,draft_fwd_m,draft_aft_m")
	fl.Var(&f.from, "from", "when the hours ahead begin, RFC 3339 or Unix milliseconds")
	fl.StringVar(&f.work, "work", "", "compare the ship's motion with the criteria of a `KIND` of cargo work: "+strings.Join(workNames(), ", "))
	fl.StringVar(&f.plots, "plots", "", "write drawings (SVG) into this `FOLDER`")
	fl.BoolVar(&f.json, "json", false, "write JSON")
	return cmd
}

// runAssess answers and prints. Without equilibrium it prints what there is and
// is an error with an exit code of its own.
func runAssess(s streams, f *assessFlags, q *question) error {
	a := q.Answer()
	if f.plots != "" {
		if err := writePlots(f.plots, q, a); err != nil {
			return err
		}
	}
	if f.json {
		enc := json.NewEncoder(s.out)
		enc.SetIndent("", "  ")
		enc.SetEscapeHTML(false)
		if err := enc.Encode(assessForm(q, a)); err != nil {
			return err
		}
	} else if err := printAssessment(s.out, q, a); err != nil {
		return err
	}
	if !a.Found {
		return &notHeld{q.plan.Berth, a.HeldForce, a.HeldShare}
	}
	return nil
}

// notHeld says that the mooring has no equilibrium.
type notHeld struct {
	berth string
	held  mooring.Force
	share float64 // of the force that it can hold
}

func (e *notHeld) Error() string {
	return fmt.Sprintf("berth %s: no equilibrium: the mooring can hold %.0f %% of the force on the ship, "+
		"%.0f kN along and %.0f kN across the berth", e.berth, 100*e.share, e.held.SurgeKN, e.held.SwayKN)
}
