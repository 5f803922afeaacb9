package mooring

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// straight is a rope of this axial stiffness, kN, with a straight law.
func straight(eaKN float64) rope {
	return rope{curve: curve{breakStrain: 1, soft: 1}, mblKN: eaKN}
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.9g, want %.9g within %g", what, got, want, tolerance)
	}
}

func TestSeriesOfTwoStraightSprings(t *testing.T) {
	// By hand: 1/(50/70 MN + 11/4 MN) = 288.66 kN/m.
	law := Law{main: straight(70e3), tail: straight(4e3), tailM: 11}
	near(t, "stiffness", law.StiffnessKNPerM(300, 61), 288.66, 0.005)
	// The same by pulling it out a metre.
	near(t, "tension at 1 m", law.TensionKN(62, 61), 288.66, 0.005)
}

func TestTideOnOneLine(t *testing.T) {
	// By hand: 30 m along, 20 m across; the height goes from 5 to 8 m, the length
	// from 36.40055 to 36.93237 m; EA 12 MN gives 175.323 kN.
	p := &Plan{Ship: Ship{LoaM: 200}, Lines: []Line{{
		Fairlead: Point{0, 0, 5}, Hook: Point{30, -20, 0}, Material: SteelWire, MBLkN: 1,
	}}}
	r := NewRig(p)
	low := r.Span(0, Pose{})
	high := r.Span(0, Pose{RiseFwdM: 3, RiseAftM: 3})
	near(t, "length low", low.LengthM, 36.40055, 1e-5)
	near(t, "length high", high.LengthM, 36.93237, 1e-5)
	law := Law{main: straight(12e3)}
	near(t, "tension", law.TensionKN(high.LengthM, low.LengthM), 175.323, 0.001)
}

// anyLaw draws a law, with and without a tail.
func anyLaw(t *rapid.T) Law {
	material := rapid.SampledFrom([]Material{SteelWire, HMPE, Aramid, Polyester,
		Polyamide, Polypropylene, Polyolefin, MixedFibre})
	l := Line{Material: material.Draw(t, "main"), MBLkN: rapid.Float64Range(50, 3000).Draw(t, "mbl")}
	if rapid.Bool().Draw(t, "has tail") {
		l.Tail = &Tail{Material: material.Draw(t, "tail"),
			LengthM: rapid.Float64Range(1, 40).Draw(t, "tail length"),
			MBLkN:   l.MBLkN * rapid.Float64Range(0.8, 1.5).Draw(t, "tail strength")}
	}
	return NewLaw(&Plan{Lines: []Line{l}}, 0)
}

func TestLawIsItsOwnInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		law := anyLaw(t)
		tension := rapid.Float64Range(0, 1).Draw(t, "share") * law.main.mblKN
		length := rapid.Float64Range(2, 250).Draw(t, "length")
		got := law.TensionKN(length, law.UnstretchedM(tension, length))
		// The length itself holds 1e-16 of 250 m, times 1e5 kN/m of short wire.
		if math.Abs(got-tension) > 1e-7*law.main.mblKN {
			t.Fatalf("%g kN came back as %g", tension, got)
		}
	})
}

func TestStretchIsTheInverseOfTension(t *testing.T) {
	// By hand: a polyester line of 50 m goes 0.12 of its length
	// to its breaking load, trade figures for new rope.
	line := NewLaw(&Plan{Lines: []Line{{Material: Polyester, MBLkN: 640}}}, 0)
	stretch, _ := line.StretchM(640, 50)
	near(t, "stretch at the breaking load", stretch, 6, 1e-9)
	rapid.Check(t, func(t *rapid.T) {
		law := anyLaw(t)
		free := rapid.Float64Range(1, 200).Draw(t, "unstretched")
		load := law.main.mblKN * rapid.Float64Range(0, 0.9).Draw(t, "share")
		stretch, perKN := law.StretchM(load, free)
		if got := law.TensionKN(free+stretch, free); math.Abs(got-load) > 1e-6*(1+load) {
			t.Errorf("drawn out %g m by %g kN, carries %g kN so", stretch, load, got)
		}
		if got := law.StiffnessKNPerM(load, free) * perKN; math.Abs(got-1) > 1e-9 {
			t.Errorf("stiffness times give is %g", got)
		}
	})
}

func TestLawPullsHarderTheLongerItIsDrawn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		law := anyLaw(t)
		unstretched := rapid.Float64Range(2, 250).Draw(t, "unstretched")
		a := rapid.Float64Range(-0.02, 0.05).Draw(t, "strain")
		b := a + rapid.Float64Range(1e-6, 0.05).Draw(t, "more")
		ta, tb := law.TensionKN(unstretched*(1+a), unstretched), law.TensionKN(unstretched*(1+b), unstretched)
		switch {
		case ta < 0:
			t.Fatalf("a line pushes: %g kN", ta)
		case a <= 0 && ta != 0:
			t.Fatalf("a slack line pulls %g kN", ta)
		case b > 0 && tb <= ta:
			t.Fatalf("%g kN at %g, %g kN at %g", ta, a, tb, b)
		}
	})
}

func TestStiffnessIsTheSlopeOfTension(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		law := anyLaw(t)
		unstretched := rapid.Float64Range(2, 250).Draw(t, "unstretched")
		strain := rapid.Float64Range(1e-3, 0.03).Draw(t, "strain")
		at, h := unstretched*(1+strain), unstretched*1e-6
		slope := (law.TensionKN(at+h, unstretched) - law.TensionKN(at-h, unstretched)) / (2 * h)
		got := law.StiffnessKNPerM(law.TensionKN(at, unstretched), unstretched)
		if math.Abs(got-slope) > 1e-5*slope {
			t.Fatalf("stiffness %g, slope %g", got, slope)
		}
	})
}

func TestLineNotMadeFast(t *testing.T) {
	law := Law{main: straight(70e3), tail: straight(4e3), tailM: 11}
	if got := law.TensionKN(60, math.Inf(1)); got != 0 {
		t.Errorf("tension %g", got)
	}
	if got := law.StiffnessKNPerM(0, math.Inf(1)); got != 0 {
		t.Errorf("stiffness %g", got)
	}
}
