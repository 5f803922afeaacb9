package assess_test

import (
	"math"
	"testing"

	"hawser/detect/assess"
	"hawser/detect/mooring"
)

// The loads of a ship at rest, measured, give the same ship at rest; and a force
// that was not told is found, to what the fenders leave open.
func TestMeasuredLoadsAreKept(t *testing.T) {
	for _, name := range []string{"tanker-12", "carrier-20", "coaster-8"} {
		p := shared(t, name)
		c := assess.Conditions{WindMS: 9, WindFromDeg: 200, RiseFwdM: 0.8, RiseAftM: 0.5}
		hidden := c
		hidden.Other = mooring.Force{SurgeKN: 40}
		truth, err := assess.New(p).Steady(hidden)
		if err != nil {
			t.Fatal(err)
		}
		m, left := assess.Measured(p, truth.TensionKN, c)
		c.Other = c.Other.Plus(left)
		got, err := m.Steady(c)
		if err != nil {
			t.Fatal(err)
		}
		for i := range got.TensionKN {
			if math.Abs(got.TensionKN[i]-truth.TensionKN[i]) > 1e-3 {
				t.Errorf("%s: line %s: %g kN, measured %g", name, p.Lines[i].ID, got.TensionKN[i], truth.TensionKN[i])
			}
		}
		t.Log(left, got.Pose, truth.Pose)
	}
}
