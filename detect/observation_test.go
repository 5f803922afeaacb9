package detect_test

import (
	"math"
	"path/filepath"
	"testing"

	"hawser/detect"
	"hawser/detect/mooring"
)

// seen is what was weighed at the moment of a raise.
type seen struct{ value, threshold float64 }

// lookOn replays facts with somebody looking on, and tells what was weighed at
// each raise, by its time and place.
func lookOn(plan *mooring.Plan, facts []fact) ([]detect.Change, map[detect.Change]seen) {
	type key struct {
		at    int64
		by    detect.Measure
		line  string
		group mooring.Group
	}
	weighed := map[key]seen{}
	changes, _ := replayWith(plan, facts, func(b *detect.Berth) {
		b.Observe(func(l *detect.Observation) {
			for m := detect.PartedLLR; m <= detect.HoldingLLR; m++ {
				for i := range plan.Lines {
					if v, th, ok := l.Statistic(m, i); ok {
						weighed[key{l.Time, m, plan.Lines[i].ID, plan.Lines[i].Group}] = seen{v, th}
					}
				}
				for g := mooring.Head; g <= mooring.Stern; g++ {
					if v, th, ok := l.GroupStatistic(m, g); ok {
						weighed[key{l.Time, m, "", g}] = seen{v, th}
					}
				}
			}
		})
	})
	at := map[detect.Change]seen{}
	for _, c := range changes {
		if w, ok := weighed[key{c.Time, c.By, c.Line, c.Group}]; c.Raised && ok {
			at[c] = w
		}
	}
	return changes, at
}

// Over every condition case: looking on changes nothing of what is told, and
// each raise has a figure on the telling side of its threshold.
func TestEveryRaiseWasWeighed(t *testing.T) {
	t.Parallel()
	paths, err := filepath.Glob("testdata/[a-z]*.txt")
	if err != nil || len(paths) < 2 {
		t.Fatalf("cases: %v, %v", paths, err)
	}
	told := map[detect.Condition]bool{}
	for _, path := range paths {
		s, err := parseScript(path)
		if err != nil {
			t.Fatal(err)
		}
		plan, facts := s.facts(t)
		unseen, _ := replay(plan, facts)
		changes, weighed := lookOn(plan, facts)
		if text(changes) != text(unseen) {
			t.Errorf("%s: told otherwise with somebody looking on", path)
		}
		for _, c := range changes {
			if !c.Raised {
				continue
			}
			told[c.Condition] = true
			w, ok := weighed[c]
			switch {
			case !ok:
				t.Errorf("%s: %s on %q by %q: nothing was weighed", path, c.Condition, c.Line, c.By)
			case c.By.Below() && w.value > w.threshold, !c.By.Below() && w.value < w.threshold:
				t.Errorf("%s: %s on %q: %s %v %s, threshold %v", path, c.Condition, c.Line, c.By, w.value, c.By.Unit(), w.threshold)
			}
		}
	}
	for _, c := range detect.Conditions() {
		if !told[c] {
			t.Errorf("no case tells %s", c)
		}
	}
}

// What is weighed against the working load limit is the mean of the readings of
// the last second, and the load shown is the median of the last three: both
// worked out here from the readings alone.
func TestLookIsOfTheReadings(t *testing.T) {
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
	looks := 0
	replayWith(plan, facts, func(b *detect.Berth) {
		b.Observe(func(l *detect.Observation) {
			n := int((l.Time-start)*rate/second) - 1 // the reading that the tick ends with
			if n < 12 || n >= 60 {
				return
			}
			looks++
			if got := l.Lines[2].Load; math.Abs(got-median(n)) > 1e-9 {
				t.Errorf("reading %d: load shown %v, median of three is %v", n, got, median(n))
			}
			mean := 0.0
			for k := range rate {
				mean += median(n-k) / rate
			}
			got, limit, ok := l.Statistic(detect.SecondMean, 2)
			if !ok || math.Abs(got-mean) > 1e-9 || limit != 0.5*640 {
				t.Errorf("reading %d: weighed %v against %v, %v; want %v against 320", n, got, limit, ok, mean)
			}
		})
	})
	if looks != 48 {
		t.Errorf("%d looks at 4.8 s of ten ticks a second", looks)
	}
}

// Looking on makes no garbage either.
func TestLookingOnAllocatesNothing(t *testing.T) {
	plan := ship(16)
	b, s := detect.New(plan), newSteady(plan, 10)
	worst := 0.0
	b.Observe(func(l *detect.Observation) {
		for i := range l.Lines {
			if r := math.Abs(l.Lines[i].Residual); r > worst {
				worst = r
			}
		}
	})
	var dst []detect.Change
	for range 200 {
		dst, _ = s.next(b, dst)
	}
	if n := testing.AllocsPerRun(100, func() { dst, _ = s.next(b, dst) }); n != 0 {
		t.Errorf("%.1f allocations for a second of 16 lines looked on, want none", n)
	}
	if worst == 0 {
		t.Error("no residual was ever shown")
	}
}
