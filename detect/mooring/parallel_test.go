package mooring

import (
	"math"
	"testing"
)

// abreast is a ship on level lines of 50 m that lead straight across from the
// given places along her, with the given stiffnesses in kN/m.
func abreast(x, stiff []float64) (*Rig, []float64) {
	p := &Plan{Berth: "test", Ship: Ship{LoaM: 200, BeamM: 30}}
	for i := range x {
		p.Lines = append(p.Lines, Line{Fairlead: Point{x[i], 0, 0}, Hook: Point{x[i], -50, 0}, Material: SteelWire, MBLkN: 1})
	}
	r := NewRig(p)
	unstretched := make([]float64, len(x))
	for i := range x {
		r.laws[i] = Law{main: straight(stiff[i] * 50)}
		unstretched[i] = 50
	}
	return r, unstretched
}

// By hand: springs side by side are drawn out alike, and each carries its share
// of the stiffness. 1000 kN on 400, 600, 600 and 400 kN/m is 200, 300, 300 and
// 200 kN, half a metre off.
func TestParallelLinesShareByStiffness(t *testing.T) {
	r, unstretched := abreast([]float64{-80, -30, 30, 80}, []float64{400, 600, 600, 400})
	at, err := r.Equilibrium(Force{SwayKN: 1000}, unstretched, Pose{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "off", at.Pose.SwayM, 0.5, 1e-6)
	for i, want := range []float64{200, 300, 300, 200} {
		near(t, "load", r.TensionKN(i, unstretched[i], at.Pose), want, 1e-3)
	}
}

// By hand: of n like lines in one place each carries n/(n−1) times as much when
// one is gone.
func TestLossOfOneOfParallelLines(t *testing.T) {
	for n, want := range map[int]float64{2: 2, 4: 4. / 3, 8: 8. / 7} {
		x, stiff := make([]float64, n), make([]float64, n)
		for i := range stiff {
			stiff[i] = 500
		}
		r, unstretched := abreast(x, stiff)
		load := func() float64 {
			at, err := r.Equilibrium(Force{SwayKN: 300}, unstretched, Pose{})
			if err != nil {
				t.Fatal(err)
			}
			return r.TensionKN(0, unstretched[0], at.Pose)
		}
		whole := load()
		near(t, "load", whole, 300/float64(n), 1e-3)
		unstretched[n-1] = math.Inf(1)
		near(t, "ratio", load()/whole, want, 1e-5)
	}
}
