package detect

import (
	"math"
	"testing"

	"hawser/detect/mooring"
)

// The ship turns about amidships, at the fender face, wherever the plan has its origin:
// a small movement stretches each line as its length between fairlead and hook says, by
// the geometry of package mooring, which turns her half her beam further out.
func TestLineModelsTurnAboutAmidships(t *testing.T) {
	const small = 1e-4 // m
	for _, origin := range []float64{0, 120} {
		plan := &mooring.Plan{Ship: mooring.Ship{LoaM: 150, BeamM: 25, DisplacementT: 20000}}
		for _, x := range []float64{70, 60, 40, -40, -60, -70} {
			plan.Lines = append(plan.Lines, mooring.Line{Group: mooring.Head, Instrumented: true,
				Fairlead: mooring.Point{X: origin + x, Y: 3, Z: 10}, Hook: mooring.Point{X: origin + 0.8*x, Y: -25, Z: 5}, InboardM: 10,
				Material: mooring.Polyester, DiameterMM: 60, MBLkN: 600, PretensionKN: 100})
		}
		turn := small / yawArm(&plan.Ship)
		rig, models := mooring.NewRig(plan), lineModels(plan)
		for m, pose := range []mooring.Pose{{SurgeM: small}, {SwayM: small}, {YawRad: turn, SurgeM: -turn * plan.Ship.BeamM / 2}} {
			for i := range models {
				want := (rig.LengthM(i, pose) - rig.LengthM(i, mooring.Pose{})) / small
				if got := models[i].Jacobian[m]; math.Abs(got-want) > 1e-4 {
					t.Errorf("origin %g, mode %d, line %d: %.5f m per metre, by its length %.5f", origin, m, i, got, want)
				}
			}
		}
	}
}
