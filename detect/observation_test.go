package detect_test

import (
	"math"
	"path/filepath"
	"testing"

	"hawser/detect"
	"hawser/detect/mooring"
)

// figure is a statistic and its threshold at the moment of a raise.
type figure struct{ value, threshold float64 }

// replayObserved replays facts with an observer, and returns the statistic of each
// raise.
func replayObserved(plan *mooring.Plan, facts []fact) ([]detect.Change, map[detect.Change]figure) {
	type key struct {
		at    int64
		by    detect.Measure
		line  string
		group mooring.Group
	}
	figures := map[key]figure{}
	changes, _ := replayWith(plan, facts, func(b *detect.Berth) {
		b.Observe(func(o *detect.Observation) {
			for m := detect.PartedLLR; m <= detect.HoldingLLR; m++ {
				for i := range plan.Lines {
					if v, th, ok := o.Statistic(m, i); ok {
						figures[key{o.Time, m, plan.Lines[i].ID, plan.Lines[i].Group}] = figure{v, th}
					}
				}
				for g := mooring.Head; g <= mooring.Stern; g++ {
					if v, th, ok := o.GroupStatistic(m, g); ok {
						figures[key{o.Time, m, "", g}] = figure{v, th}
					}
				}
			}
		})
	})
	at := map[detect.Change]figure{}
	for _, c := range changes {
		if f, ok := figures[key{c.Time, c.By, c.Line, c.Group}]; c.Raised && ok {
			at[c] = f
		}
	}
	return changes, at
}

// Over every condition case: an observer does not change the result, and each raise has
// a statistic beyond its threshold.
func TestEveryRaiseHasAStatistic(t *testing.T) {
	t.Parallel()
	paths, err := filepath.Glob("testdata/[a-z]*.txt")
	if err != nil || len(paths) < 2 {
		t.Fatalf("cases: %v, %v", paths, err)
	}
	raised := map[detect.Condition]bool{}
	for _, path := range paths {
		s, err := parseScript(path)
		if err != nil {
			t.Fatal(err)
		}
		plan, facts := s.facts(t)
		alone, _ := replay(plan, facts)
		changes, figures := replayObserved(plan, facts)
		if text(changes) != text(alone) {
			t.Errorf("%s: another result with an observer", path)
		}
		for _, c := range changes {
			if !c.Raised {
				continue
			}
			raised[c.Condition] = true
			f, ok := figures[c]
			switch {
			case !ok:
				t.Errorf("%s: %s on %q by %q: no statistic", path, c.Condition, c.Line, c.By)
			case c.By.Below() && f.value > f.threshold, !c.By.Below() && f.value < f.threshold:
				t.Errorf("%s: %s on %q: %s %v %s, threshold %v", path, c.Condition, c.Line, c.By, f.value, c.By.Unit(), f.threshold)
			}
		}
	}
	for _, c := range detect.Conditions() {
		if !raised[c] {
			t.Errorf("no case raises %s", c)
		}
	}
}

// The statistic for the working load limit is the mean of the readings of the last
// second, and the load shown is the median of the last three: both are computed here
// from the readings alone.
func TestObservationIsOfTheReadings(t *testing.T) {
	plan := ship(6)
	const rate = 10
	var facts []fact
	var loads []float64
	for n := range 40 * rate {
		v := 90 + 7*float64(n) + 3*math.Sin(float64(n)) // passes half of 640 kN after some 3 s
		loads = append(loads, v)
		facts = append(facts, fact{tension("3"), start + int64(n)*second/rate, v})
	}
	for n := range facts {
		facts = append(facts, fact{tension("1"), facts[n].time, 95})
	}
	median := func(n int) float64 {
		a, b, c := loads[n-2], loads[n-1], loads[n]
		return a + b + c - max(a, b, c) - min(a, b, c)
	}
	observations := 0
	replayWith(plan, facts, func(b *detect.Berth) {
		b.Observe(func(o *detect.Observation) {
			n := int((o.Time-start)*rate/second) - 1 // the reading that the tick ends with
			if n < 12 || n >= 60 {
				return
			}
			observations++
			if got := o.Lines[2].Load; math.Abs(got-median(n)) > 1e-9 {
				t.Errorf("reading %d: load shown %v, median of three is %v", n, got, median(n))
			}
			mean := 0.0
			for k := range rate {
				mean += median(n-k) / rate
			}
			got, limit, ok := o.Statistic(detect.SecondMean, 2)
			if !ok || math.Abs(got-mean) > 1e-9 || limit != 0.5*640 {
				t.Errorf("reading %d: mean %v, limit %v, %v; want %v against 320", n, got, limit, ok, mean)
			}
		})
	})
	if observations != 48 {
		t.Errorf("%d observations in 4.8 s of ten ticks a second", observations)
	}
}

// An observer costs no allocation.
func TestObservingAllocatesNothing(t *testing.T) {
	plan := ship(16)
	b, s := detect.New(plan), newSteady(plan, 10)
	worst := 0.0
	b.Observe(func(o *detect.Observation) {
		for i := range o.Lines {
			if r := math.Abs(o.Lines[i].Residual); r > worst {
				worst = r
			}
		}
	})
	var dst []detect.Change
	for range 200 {
		dst, _ = s.next(b, dst)
	}
	if n := testing.AllocsPerRun(100, func() { dst, _ = s.next(b, dst) }); n != 0 {
		t.Errorf("%.1f allocations for an observed second of 16 lines, want none", n)
	}
	if worst == 0 {
		t.Error("no residual was ever shown")
	}
}
