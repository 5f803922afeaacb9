package assess_test

import (
	"math"
	"testing"

	"hawser/detect/assess"
	"hawser/detect/mooring"
)

func TestWindLimitsByHand(t *testing.T) {
	// Four like lines off the quay, two at each end 50 m from amidships, on winches
	// that render at 0.6 of MBL. Wind from abeam presses with F = 0.92 · ½ρV² · A
	// (UFC 4-159-03), 0.2 m before amidships: 0.5 - 0.291 - 0.0023 · 90 of 100 m.
	// The lines forward carry F/4 (1 + 0.2/50) each. When they render at T the others
	// carry T - F · 0.2/100, so that at the end F = 4 T/(1 + 0.4/100).
	p := abreast([]float64{-50, -50, 50, 50}, func(_ int, l *mooring.Line) {
		l.MadeFast, l.BrakeRenderKN = mooring.Winch, 60
	})
	perQ := 0.92 * 1.225e-3 / 2 * 1000
	speed := func(kN float64) float64 { return math.Sqrt(kN / perQ) }
	// Headings turn the rose; port and starboard side to mirror it.
	for _, c := range []struct {
		heading float64
		side    mooring.Side
		from    int // degrees, off the quay
	}{{0, mooring.Starboard, 90}, {0, mooring.Port, 270}, {120, mooring.Starboard, 210}, {120, mooring.Port, 30}} {
		p.HeadingDeg, p.Side = c.heading, c.side
		limits := assess.New(p).WindLimits(assess.Conditions{}, 12)
		w := limits[c.from/30]
		near(t, "from", w.FromDeg, float64(c.from), 1e-9)
		near(t, "working load limit", w.Working.SpeedMS, speed(4*50/(1+0.2/50)), 1e-3)
		near(t, "brake", w.Brake.SpeedMS, speed(4*60/(1+0.2/50)), 1e-3)
		near(t, "fails", w.Fails.SpeedMS, speed(4*60/(1+0.4/100)), 0.05)
		if w.Working.Line != 2 && w.Working.Line != 3 {
			t.Errorf("line %d comes to its limit first", w.Working.Line)
		}
	}
}

func TestBrakeSetUnderTheWorkingLoadLimit(t *testing.T) {
	// As above, with brakes that render at 0.4 of MBL: under the limit of 0.5.
	p := abreast([]float64{-50, -50, 50, 50}, func(_ int, l *mooring.Line) {
		l.MadeFast, l.BrakeRenderKN = mooring.Winch, 40
	})
	w := assess.New(p).WindLimits(assess.Conditions{}, 4)[1]
	perQ := 0.92 * 1.225e-3 / 2 * 1000
	near(t, "brake", w.Brake.SpeedMS, math.Sqrt(4*40/(1+0.2/50)/perQ), 1e-3)
	near(t, "working load limit", w.Working.SpeedMS, math.Sqrt(4*50/(1+0.2/50)/perQ), 1e-3)
	near(t, "fails", w.Fails.SpeedMS, math.Sqrt(4*40/(1+0.4/100)/perQ), 0.05)
}

// At the wind found, the line named stands at its limit and no other is beyond
// its own; just below, none is at it.
func TestWindLimitIsWhereTheLineIsAtItsLimit(t *testing.T) {
	for _, name := range plans {
		p := shared(t, name)
		m := assess.New(p)
		c := assess.Conditions{RiseFwdM: 0.5, RiseAftM: 0.8}
		reached := 0
		for _, w := range m.WindLimits(c, 24) {
			if math.IsInf(w.Working.SpeedMS, 1) {
				c.WindMS, c.WindFromDeg = assess.CeilingMS, w.FromDeg
				s, err := m.Steady(c)
				if err != nil {
					t.Fatal(err)
				}
				for i, kN := range s.TensionKN {
					if kN >= p.WorkingLoadKN(i) {
						t.Errorf("%s from %g: no limit, but line %s carries %g kN", name, w.FromDeg, p.Lines[i].ID, kN)
					}
				}
				continue
			}
			reached++
			if !(w.Working.SpeedMS <= w.Fails.SpeedMS && w.Brake.SpeedMS <= w.Fails.SpeedMS || math.IsInf(w.Brake.SpeedMS, 1)) {
				t.Errorf("%s: out of order: %+v", name, w)
			}
			c.WindMS, c.WindFromDeg = w.Working.SpeedMS, w.FromDeg
			s, err := m.Steady(c)
			if err != nil {
				t.Fatal(err)
			}
			for i, kN := range s.TensionKN {
				share := kN / p.WorkingLoadKN(i)
				if share > 1+1e-6 || i == w.Working.Line && share < 1-1e-6 {
					t.Errorf("%s from %g in %g m/s: line %s at %.9f of its limit", name, w.FromDeg, c.WindMS, p.Lines[i].ID, share)
				}
			}
		}
		if reached < 6 {
			t.Errorf("%s: only %d directions come to a limit", name, reached)
		}
	}
}

// The same mooring on the other side of the ship, in the mirror of the wind,
// takes as much.
func TestMirroredMooringHasMirroredLimits(t *testing.T) {
	for _, name := range plans {
		p, q := shared(t, name), shared(t, name)
		p.HeadingDeg, q.HeadingDeg = 0, 0
		p.Side, q.Side = mooring.Starboard, mooring.Port
		a := assess.New(p).WindLimits(assess.Conditions{}, 36)
		b := assess.New(q).WindLimits(assess.Conditions{}, 36)
		for k := range a {
			w, v := a[k], b[(36-k)%36]
			for _, pair := range [][2]assess.Threshold{{w.Working, v.Working}, {w.Brake, v.Brake}, {w.Fails, v.Fails}} {
				if pair[0].SpeedMS != pair[1].SpeedMS && math.Abs(pair[0].SpeedMS-pair[1].SpeedMS) > 1e-3 {
					t.Errorf("%s from %g: %g and mirrored %g m/s", name, w.FromDeg, pair[0].SpeedMS, pair[1].SpeedMS)
				}
			}
		}
	}
}

func TestLimitWithoutWind(t *testing.T) {
	// A line that stands over its limit in calm is there at no wind.
	m := assess.New(abreast([]float64{-50, -50, 50, 50}, nil))
	w := m.WindLimits(off(240), 4)[1]
	if w.Working.SpeedMS != 0 || w.Working.Line < 0 {
		t.Errorf("60 kN on lines of 50 kN: %+v", w.Working)
	}
	// And so is a brake that renders in calm, at 60 kN.
	winches := assess.New(abreast([]float64{-50, -50, 50, 50}, func(_ int, l *mooring.Line) {
		l.MadeFast, l.BrakeRenderKN = mooring.Winch, 59
	}))
	if v := winches.WindLimits(off(240), 4)[1]; v.Brake.SpeedMS != 0 || v.Fails.SpeedMS > 3 {
		t.Errorf("60 kN on brakes of 59 kN: %+v", v)
	}
	near(t, "fails at", w.Fails.SpeedMS, math.Sqrt((4*100/(1+0.2/50)-240)/(0.92*1.225e-3/2*1000)), 0.3)
}

func BenchmarkWindLimits(b *testing.B) {
	m := assess.New(sixteen(b))
	b.ReportAllocs()
	for b.Loop() {
		if w := m.WindLimits(assess.Conditions{}, 72); math.IsInf(w[64].Working.SpeedMS, 1) {
			b.Fatal(w[64])
		}
	}
}
