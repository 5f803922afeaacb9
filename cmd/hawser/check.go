package main

import (
	"fmt"
	"io"
	"math"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"hawser/detect/mooring"
	"hawser/ingest/planfile"
)

func newCheck(s streams) *cobra.Command {
	return &cobra.Command{
		Use:   "check PLAN",
		Short: "Check a mooring plan and print the mooring as a table",
		Long: `check reads a mooring plan strictly, tells each fault with its place, and prints
the mooring: where each line leads, how long and how strong it is, and what it is
set to. Angles are those of the plan's reference drafts and water level.`,
		Example: `  hawser check plan.yaml`,
		Args:    cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			plan, _, err := planfile.Load(args[0])
			if err != nil {
				return err
			}
			return printMooring(s.out, plan)
		},
	}
}

// printMooring writes a plan as a table.
func printMooring(w io.Writer, p *mooring.Plan) error {
	side := "starboard"
	if p.Side == mooring.Port {
		side = "port"
	}
	fmt.Fprintf(w, "%s at berth %s, %s side to, heading %03.0f\n", p.Ship.Name, p.Berth, side, p.HeadingDeg)
	fmt.Fprintf(w, "%.0f m by %.1f m, %.0f t; drafts %.1f m forward, %.1f m aft; water %.1f m above datum\n",
		p.Ship.LoaM, p.Ship.BeamM, p.Ship.DisplacementT, p.Reference.DraftFwdM, p.Reference.DraftAftM, p.Reference.WaterLevelM)
	fmt.Fprintf(w, "%d lines, %d fenders\n\n", len(p.Lines), len(p.Fenders))

	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "line\tgroup\tmaterial\ttail\tlength m\tto berth deg\tdown deg\tMBL kN\tlimit kN\tset to kN\tof MBL\trenders kN\tof MBL\tmade fast\tpin")
	rig := mooring.NewRig(p)
	for i := range p.Lines {
		l := &p.Lines[i]
		span := rig.Span(i, mooring.Pose{})
		tail := "-"
		if l.Tail != nil {
			tail = fmt.Sprintf("%s %.0f m", l.Tail.Material, l.Tail.LengthM)
		}
		renders, rendersShare := "-", "-"
		if l.MadeFast == mooring.Winch {
			renders, rendersShare = fmt.Sprintf("%.0f", l.BrakeRenderKN), percent(l.BrakeRenderKN/l.MBLkN)
		}
		pin := "yes"
		if !l.Instrumented {
			pin = "no"
		}
		fmt.Fprintf(t, "%s\t%s\t%s %.0f mm\t%s\t%.1f\t%.0f\t%.0f\t%.0f\t%.0f\t%.0f\t%s\t%s\t%s\t%s\t%s\n",
			l.ID, l.Group, l.Material, l.DiameterMM, tail, span.LengthM+l.InboardM,
			degrees(span.HorizontalRad()), degrees(span.VerticalRad()), l.MBLkN, p.WorkingLoadKN(i),
			l.PretensionKN, percent(l.PretensionKN/l.MBLkN), renders, rendersShare, l.MadeFast, pin)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(w, "\nLength is fairlead to hook and inboard part together. Limit is the working load limit.\n%s\n", cautions)
	return err
}

func percent(share float64) string { return fmt.Sprintf("%.0f %%", 100*share) }

func degrees(rad float64) float64 { return rad * 180 / math.Pi }
