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

// A load that was measured is what it is, however stiff the rope; one that is an
// estimate is no better known than a pretension that nobody measured.
func TestLoadsThatAreEstimatesAreDoubted(t *testing.T) {
	p := shared(t, "tanker-12")
	loads := make([]float64, len(p.Lines))
	for i := range loads {
		loads[i] = 120
	}
	loads[1], loads[4] = math.NaN(), math.NaN() // lines 2 and 5, whose fellows are measured
	m, left := assess.Measured(p, loads, assess.Conditions{})
	q := assess.Question{Mooring: m, Conditions: assess.Conditions{Other: left}, Measured: true}
	a := q.Answer()
	for i, l := range p.Lines {
		low, high := 120.0, 120.0
		if math.IsNaN(loads[i]) {
			low, high = 0.7*120, 1.3*120
		}
		if math.Abs(a.Spread.LowKN[i]-low) > 0.01 || math.Abs(a.Spread.HighKN[i]-high) > 0.01 {
			t.Errorf("line %s: %.2f to %.2f kN, want %.0f to %.0f", l.ID, a.Spread.LowKN[i], a.Spread.HighKN[i], low, high)
		}
	}
	for _, loss := range a.Losses {
		t0 := loss.First.TensionKN[loss.Worst]
		if estimate := math.IsNaN(loads[loss.Worst]); estimate && (loss.WorstLowKN > 0.701*t0 || loss.WorstHighKN < 1.299*t0) || !estimate && loss.WorstHighKN > 1.2*t0 {
			t.Errorf("with line %s lost line %s carries %.0f to %.0f kN, %.0f", p.Lines[loss.Lost[0]].ID, p.Lines[loss.Worst].ID, loss.WorstLowKN, loss.WorstHighKN, t0)
		}
	}
}
