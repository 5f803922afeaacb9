package assess_test

import (
	"math"
	"slices"
	"testing"

	"hawser/detect/assess"
	"hawser/detect/mooring"
)

func TestLossOfOneOfLikeLines(t *testing.T) {
	// By hand: n like lines carry F/n, one lost leaves n/(n-1) of that.
	for _, n := range []int{2, 4} {
		m := assess.New(abreast(make([]float64, n), nil))
		l := m.Lose(off(60), 0)
		if !l.Found || !l.Holds || l.Cascade != nil || l.Renders != nil {
			t.Fatalf("%d lines: %+v", n, l)
		}
		near(t, "load", l.First.TensionKN[l.Worst], 60/float64(n-1), 1e-6)
		if l.First.TensionKN[0] != 0 {
			t.Errorf("the lost line carries %g kN", l.First.TensionKN[0])
		}
	}
}

// weakAndStrong are lines of 100, 100 and 300 kN: they carry one, one and three
// fifths of any force.
func weakAndStrong(i int, l *mooring.Line) {
	if i == 2 {
		l.MBLkN = 300
	}
}

func TestCascadeByHand(t *testing.T) {
	winchA := func(i int, l *mooring.Line) {
		if i == 0 {
			l.MadeFast, l.BrakeRenderKN = mooring.Winch, 60
		}
	}
	weakTail := func(i int, l *mooring.Line) {
		if i == 1 {
			l.Tail = &mooring.Tail{Material: mooring.Polyester, LengthM: 11, MBLkN: 70}
		}
	}
	for _, c := range []struct {
		name             string
		change           func(int, *mooring.Line)
		force            float64
		lost             int
		renders, cascade []int
		holds            bool
		final            []float64 // by line where it holds, NaN where not reckoned by hand
	}{
		// 41, 41 and 123; without C 102.5 each.
		{"strong line lost", weakAndStrong, 205, 2, nil, []int{0, 1}, false, nil},
		// Without A 50 and 150.
		{"weak line lost", weakAndStrong, 200, 0, nil, nil, true, []float64{0, 50, 150}},
		// 80 each; without C 120 each: A parts, then B.
		{"each as strong", nil, 240, 2, nil, []int{0, 1}, false, nil},
		// 50 each; without C 75 each, but A renders at 60 and leaves 90 to B.
		{"brake gives and the rest hold", winchA, 150, 2, []int{0}, nil, true, []float64{60, 90, 0}},
		// 55 each; without C A renders at 60, leaves 105 to B, which parts; A alone
		// does not hold 165.
		{"brake gives and the rest part", winchA, 165, 2, []int{0}, []int{1}, false, nil},
		// Without A B and C have 120 between them: B, with its weak and stretchier
		// tail, less than C. 55 to 60 on B: below its tail's 70.
		{"weak tail holds", weakTail, 120, 0, nil, nil, true, []float64{0, math.NaN(), math.NaN()}},
		// 160: the tail parts over 70, and C is left with 160.
		{"weak tail parts", weakTail, 160, 0, nil, []int{1, 2}, false, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := assess.New(abreast(make([]float64, 3), c.change))
			l := m.Lose(off(c.force), c.lost)
			if !l.Found || l.Holds != c.holds || !slices.Equal(l.Renders, c.renders) {
				t.Errorf("found %v, holds %v, renders %v", l.Found, l.Holds, l.Renders)
			}
			if got := slices.Sorted(slices.Values(l.Cascade)); !slices.Equal(got, c.cascade) {
				t.Errorf("cascade %v, want %v", l.Cascade, c.cascade)
			}
			if !c.holds {
				return
			}
			for i, want := range c.final {
				if !math.IsNaN(want) {
					near(t, "line "+m.Plan().Lines[i].ID, l.Final.TensionKN[i], want, 1e-6)
				}
			}
		})
	}
}

// The worst loss comes first: no rest before nothing holds before holds, and then
// by the length of the cascade and the share of MBL.
func TestLossesAreRanked(t *testing.T) {
	for _, name := range plans {
		m := assess.New(shared(t, name))
		for _, wind := range []float64{5, 18, 27} {
			all := m.LoseEach(assess.Conditions{WindMS: wind, WindFromDeg: m.Plan().HeadingDeg + 90})
			if len(all) != len(m.Plan().Lines) {
				t.Fatalf("%s: %d losses", name, len(all))
			}
			for k := 1; k < len(all); k++ {
				a, b := &all[k-1], &all[k]
				if !a.Holds || !b.Holds {
					if a.Holds && !b.Holds {
						t.Errorf("%s, %g m/s: %v holds and stands before %v", name, wind, a.Lost, b.Lost)
					}
					continue
				}
				if len(a.Cascade) < len(b.Cascade) || len(a.Cascade) == len(b.Cascade) &&
					m.Share(&a.First, a.Worst) < m.Share(&b.First, b.Worst) {
					t.Errorf("%s, %g m/s: %v stands before %v", name, wind, a.Lost, b.Lost)
				}
			}
		}
	}
}

// Losing a line is the equilibrium without it, as the mechanics have it alone.
func TestLossIsTheEquilibriumWithoutTheLine(t *testing.T) {
	p := shared(t, "carrier-20")
	m, rig := assess.New(p), mooring.NewRig(p)
	c := assess.Conditions{WindMS: 15, WindFromDeg: 320, RiseFwdM: 1, RiseAftM: 1}
	for _, l := range m.LoseEach(c) {
		lengths := rig.Pretensioned()
		lengths[l.Lost[0]] = math.Inf(1)
		e, err := rig.Equilibrium(m.Force(c), lengths, mooring.Pose{RiseFwdM: 1, RiseAftM: 1})
		if err != nil {
			t.Fatal(err)
		}
		for i := range e.TensionKN {
			near(t, "load", l.First.TensionKN[i], e.TensionKN[i], 1e-4)
		}
	}
}

func BenchmarkLoseEach(b *testing.B) {
	m := assess.New(sixteen(b))
	c := assess.Conditions{WindMS: 15, WindFromDeg: 320}
	b.ReportAllocs()
	for b.Loop() {
		if all := m.LoseEach(c); len(all) != 16 || !all[0].Found {
			b.Fatal(len(all))
		}
	}
}

// sixteen is the carrier with four lines less.
func sixteen(b testing.TB) *mooring.Plan {
	p := shared(b, "carrier-20")
	p.Lines = slices.Concat(p.Lines[2:18])
	return p
}
