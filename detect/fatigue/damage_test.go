package fatigue_test

import (
	"math"
	"strings"
	"testing"

	"hawser/detect/fatigue"
)

func near(got, want, relative float64) bool { return math.Abs(got-want) <= relative*math.Abs(want) }

// plain is N = 10^logK R^-m.
func plain(m, logK float64) *fatigue.Curve { return &fatigue.Curve{M: m, LogK: logK} }

// The sums of n S^m over the standard's example are hand calculation: for m of 1,
// 3, 4 and 5 they are 23, 1094, 8449 and 67838; with N = 1e6 S^-3 the Miner sum is
// 1.094e-3, and 914 repeats come to one.
func TestMinerSumOfTheStandardsExample(t *testing.T) {
	cycles := count(numbers(t, "rainflow_astm_history.csv", 2), 0)
	for _, c := range []struct{ m, want float64 }{{1, 23}, {3, 1094}, {4, 8449}, {5, 67838}} {
		sum := 0.0
		for _, x := range cycles {
			sum += plain(c.m, 0).Damage(x.size(), 0, float64(x.halves)/2)
		}
		if !near(sum, c.want, 1e-12) {
			t.Errorf("m %g: %g, want %g", c.m, sum, c.want)
		}
	}
	sum := 0.0
	for _, x := range cycles {
		sum += plain(3, 6).Damage(x.size(), 0, float64(x.halves)/2)
	}
	if !near(sum, 1.094e-3, 1e-12) || math.Floor(1/sum) != 914 {
		t.Errorf("%g, %g repeats", sum, 1/sum)
	}
}

// Blocks of constant range, as in textbooks of Miner's rule, by hand: polyester with
// N = 25000 R^-5.2 bears 25000*4^5.2 = 3.3779e7 cycles of a quarter of its breaking
// load and 25000*2^5.2 = 9.1896e5 of a half, so that 1e6 and 1e4 of them come to
// 0.029604 + 0.010882 = 0.040486. Stranded wire about a mean of 0.3 has
// K = 10^(3.20-0.837) = 230.67 and bears 230.67*5^4.09 = 1.6664e5 of a fifth.
func TestMinerSumOfBlocks(t *testing.T) {
	polyester, wire := fatigue.Polyester(), fatigue.StrandedWire()
	sum := polyester.Damage(0.25, 0.2, 1e6) + polyester.Damage(0.5, 0.3, 1e4)
	if !near(sum, 0.040486, 2e-4) {
		t.Errorf("polyester: %g, want 0.040486", sum)
	}
	if got := wire.Life(0.2, 0.3); !near(got, 1.6664e5, 2e-4) {
		t.Errorf("wire: %g cycles, want 1.6664e5", got)
	}
}

// The order of the guidance's materials at equal loads: wet soft fibre far behind
// wire, polyester far ahead.
func TestCurvesAgainstEachOther(t *testing.T) {
	nylon, wire, spiral, polyester := fatigue.WetNylon(), fatigue.StrandedWire(), fatigue.SpiralStrand(), fatigue.Polyester()
	for _, size := range []float64{0.1, 0.2, 0.3} {
		n, w, s, p := nylon.Life(size, 0.2), wire.Life(size, 0.2), spiral.Life(size, 0.2), polyester.Life(size, 0.2)
		if !(p > 10*s && s > w && s > 5*n) {
			t.Errorf("range %g: polyester %g, spiral strand %g, stranded wire %g, wet nylon %g cycles", size, p, s, w, n)
		}
	}
	if got := nylon.Life(0.5, 0.25); !near(got, 1000, 1e-9) {
		t.Errorf("wet nylon at half its strength: %g cycles, want 1000", got)
	}
	if got := nylon.Life(0, 0.25); !math.IsInf(got, 1) {
		t.Errorf("no range: %g cycles", got)
	}
}

func TestCurveIsChecked(t *testing.T) {
	good := fatigue.Polyester()
	if err := good.Validate(); err != nil {
		t.Error(err)
	}
	for place, spoil := range map[string]func(*fatigue.Curve){
		"m:":             func(c *fatigue.Curve) { c.M = 0 },
		"log_k:":         func(c *fatigue.Curve) { c.LogK = math.NaN() },
		"mean_slope:":    func(c *fatigue.Curve) { c.MeanSlope = 1 },
		"design_factor:": func(c *fatigue.Curve) { c.DesignFactor = 0 },
		"source:":        func(c *fatigue.Curve) { c.Source = "" },
	} {
		c := good
		spoil(&c)
		if err := c.Validate(); err == nil || !strings.HasPrefix(err.Error(), place) {
			t.Errorf("%s %v", place, err)
		}
	}
}

// By the cells the damage is what it is cycle by cycle, near enough for any curve.
func TestDamageByCells(t *testing.T) {
	for seed := range uint64(5) {
		history := histories(300+seed, 20_000)["moored"]
		var m fatigue.Matrix
		cycles := count(history, 0.005)
		for _, c := range cycles {
			m.Cycle(c.from, c.to, c.halves)
		}
		for _, curve := range []fatigue.Curve{fatigue.StrandedWire(), fatigue.SpiralStrand(), fatigue.Polyester(), fatigue.WetNylon()} {
			want := 0.0
			for _, c := range cycles {
				want += curve.Damage(c.size(), (c.from+c.to)/2, float64(c.halves)/2)
			}
			if got := m.Damage(&curve); !near(got, want, 0.01) {
				t.Errorf("%s, seed %d: %g by cells, %g by cycles", curve.Name, seed, got, want)
			}
		}
		if got, want := m.Cycles(0.05), atLeast(cycles, 0.05); got != want {
			t.Errorf("%g cycles of a twentieth and more, want %g", got, want)
		}
	}
}

func atLeast(l list, least float64) float64 {
	n := 0.0
	for _, c := range l {
		if c.size() >= least {
			n += float64(c.halves) / 2
		}
	}
	return n
}

// Level-crossing counting by ASTM E1049-85, 5.1 and Fig. 2 (counts as read off the
// figure by the authors of github.com/dpzhuX/ffpack).
func TestLevelCrossings(t *testing.T) {
	history := numbers(t, "astm_level_history.csv", 1)
	at, want := numbers(t, "astm_level_counts.csv", 0), numbers(t, "astm_level_counts.csv", 1)
	counts := make([]uint64, len(at))
	for i := 1; i < len(history); i++ {
		fatigue.Crossings(at, 0, history[i-1], history[i], counts)
	}
	for i := range at {
		if float64(counts[i]) != want[i] {
			t.Errorf("level %g: %d, want %g", at[i], counts[i], want[i])
		}
	}
}
