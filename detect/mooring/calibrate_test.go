package mooring

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// checkStill fails unless the calibrated mooring lies still where it says, under
// what it says, with the loads it says.
func checkStill(t interface {
	Helper()
	Fatalf(string, ...any)
}, r *Rig, c *Calibration) {
	t.Helper()
	e, err := r.Equilibrium(c.Steady, c.UnstretchedM, c.Pose)
	if err != nil {
		t.Fatalf("%v", err)
	}
	for i := range e.TensionKN {
		if math.Abs(e.TensionKN[i]-c.TensionKN[i]) > 1e-4 {
			t.Fatalf("line %d: %g kN, calibrated to %g", i, e.TensionKN[i], c.TensionKN[i])
		}
	}
}

func TestCalibratedMooringCarriesTheLoads(t *testing.T) {
	r := NewRig(tanker())
	rapid.Check(t, func(t *rapid.T) {
		loads := make([]float64, 12)
		for i := range loads {
			loads[i] = rapid.Float64Range(5, 450).Draw(t, "load")
		}
		m := Measured{LoadKN: loads, Force: anyForce(t)}
		rise := rapid.Float64Range(-3, 3).Draw(t, "rise")
		m.At = Pose{RiseFwdM: rise, RiseAftM: rise / 2, SurgeM: rapid.Float64Range(-1, 1).Draw(t, "surge")}
		c := r.Calibrate(m)
		var sum float64
		for i := range loads {
			sum += loads[i]
			if math.Abs(c.TensionKN[i]-loads[i]) > 1e-6*loads[i] {
				t.Fatalf("line %d: %g kN, measured %g", i, c.TensionKN[i], loads[i])
			}
		}
		checkStill(t, r, &c)
		if c.Unexplained.SwayKN < -1e-4*sum && c.Pose.SwayM < 0 {
			t.Fatalf("on the fenders, yet %g kN are to press her on", -c.Unexplained.SwayKN)
		}
	})
}

func TestCalibrationFindsWhatIs(t *testing.T) {
	// A mooring whose winches have been worked since, in a known wind: its loads
	// give back what it will do in another.
	p := tanker()
	r := NewRig(p)
	for _, from := range []float64{48, 138, 228} { // off the quay, on the stern, onto it
		truth := r.Pretensioned()
		for i := range truth {
			truth[i] += 0.15 * math.Sin(float64(3*i+1))
		}
		wind := p.WindForce(12, from)
		now, err := r.Equilibrium(wind, truth, Pose{})
		if err != nil {
			t.Fatal(err)
		}
		m := Measured{LoadKN: now.TensionKN, Force: wind}
		c := r.Calibrate(m)
		checkStill(t, r, &c)
		harder := p.WindForce(18, from+20)
		want, err := r.Equilibrium(harder, truth, Pose{})
		if err != nil {
			t.Fatal(err)
		}
		got, err := r.Equilibrium(harder.Plus(c.Unexplained), c.UnstretchedM, c.Pose)
		if err != nil {
			t.Fatal(err)
		}
		for i := range got.TensionKN {
			near(t, "line", got.TensionKN[i], want.TensionKN[i], 0.02*p.Lines[i].MBLkN)
		}
	}
}

func TestUnexplainedForce(t *testing.T) {
	// By hand: two lines of 100 kN square to the quay and fenders at both ends.
	r, _ := twoLines(0)
	r.plan.Fenders = []Fender{{XM: -30, StiffnessKNPerM: 1000}, {XM: 30, StiffnessKNPerM: 1000}}
	for _, row := range []struct {
		name        string
		loads       []float64
		known, want Force
		sway, yaw   float64
	}{
		{"at rest on the fenders", []float64{100, 100}, Force{}, Force{}, -0.1, 0},
		{"in a known wind off", []float64{100, 100}, Force{SwayKN: 200}, Force{}, 0, 0},
		{"in half of it", []float64{100, 100}, Force{SwayKN: 100}, Force{}, -0.05, 0},
		{"more wind known than the lines hold", []float64{100, 100}, Force{SwayKN: 300}, Force{SwayKN: -100}, 0, 0},
		{"pushed ahead", []float64{100, 100}, Force{SurgeKN: 70}, Force{SurgeKN: -70}, -0.1, 0},
		// 150 and 50 kN at 40 m either side: the push lies 20 m aft, 166.67 and 33.33
		// kN on fenders 60 m apart.
		{"aft heavier", []float64{150, 50}, Force{}, Force{}, -0.1, 0.1333333 / 60},
		// 200 kN at 40 m is outside the fenders' span; borne at 27 m of it. Her turned
		// side pushes her along by a little.
		{"all aft", []float64{200, 0}, Force{}, Force{YawKNm: -200 * 13}, -0.1, 0.18 / 60},
	} {
		m := Measured{LoadKN: row.loads, Force: row.known}
		c := r.Calibrate(m)
		near(t, row.name+": surge", c.Unexplained.SurgeKN, row.want.SurgeKN, 1)
		near(t, row.name+": sway", c.Unexplained.SwayKN, row.want.SwayKN, 0.01)
		near(t, row.name+": yaw", c.Unexplained.YawKNm, row.want.YawKNm, 6)
		near(t, row.name+": she lies", c.Pose.SwayM, row.sway, 1e-6)
		near(t, row.name+": turned", c.Pose.YawRad, row.yaw, 1e-6)
	}
}

func TestLineWithoutALoad(t *testing.T) {
	r := NewRig(tanker())
	none := math.NaN()
	c := r.Calibrate(Measured{LoadKN: []float64{
		100, none, // the other head line has 100 kN
		90, 110,
		none, none, // no fwd spring has a load: the plan's pretension
		140, none, 100, 100, 130, 150}})
	near(t, "head line", c.TensionKN[1], 100, 1e-6)
	near(t, "fwd spring", c.TensionKN[4], 100, 1e-6)
	near(t, "aft spring", c.TensionKN[7], 140, 1e-6)
	for i, want := range []bool{false, true, false, false, true, true, false, true, false, false, false, false} {
		if c.Assumed[i] != want {
			t.Errorf("line %d: assumed %t", i, c.Assumed[i])
		}
	}
	checkStill(t, r, &c)
}
