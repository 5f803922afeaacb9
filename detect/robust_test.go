package detect_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"

	"hawser/detect"
	"hawser/detect/mooring"

	"pgregory.net/rapid"
)

// Steady loads between a tenth and three tenths of MBL, whatever the number of
// lines, the rate, the noise and the last digit, are nothing to tell of.
func TestNothingFromNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lines := rapid.SampledFrom([]int{1, 2, 3, 4, 6, 9, 14, 40}).Draw(t, "lines")
		period := rapid.SampledFrom([]int64{1000, 500, 300, 200}).Draw(t, "period ms") * 1e6
		noise := rapid.SampledFrom([]float64{0, 0.1, 0.5, 2, 4}).Draw(t, "noise kN")
		digit := rapid.SampledFrom([]float64{0.1, 0.5, 1, 5}).Draw(t, "last digit kN")
		share := rapid.Float64Range(0.1, 0.3).Draw(t, "share of MBL")
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 3))
		plan := ship(lines)
		var facts []fact
		for i, l := range plan.Lines {
			level := share * l.MBLkN * (0.95 + 0.1*r.Float64())
			for at := start + int64(i)*1e6; at < start+110*second; at += period {
				facts = append(facts, fact{tension(l.ID), at, math.Round((level+noise*r.NormFloat64())/digit) * digit})
			}
		}
		if got, _ := replay(plan, facts); len(got) != 0 {
			t.Fatalf("told:\n%s", text(got))
		}
	})
}

// Whatever comes, in whatever order and with whatever clock, a berth neither
// panics nor grows, tells only figures that are numbers, and never raises what
// is raised or clears what is not.
func TestSurvivesAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lines := rapid.SampledFrom([]int{1, 2, 3, 5, 9, 16, 40}).Draw(t, "lines")
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 4))
		plan := ship(lines)
		plan.Lines[r.IntN(lines)].Instrumented = false
		if r.IntN(4) == 0 { // a plan no planfile would pass
			plan.Ship = mooring.Ship{}
			plan.Lines[0].Hook, plan.Lines[0].MBLkN = plan.Lines[0].Fairlead, 0
		}
		b := detect.New(plan)
		clock := start
		up := map[string]bool{}
		var changes []detect.Change
		for range 25 {
			switch r.IntN(12) {
			case 0:
				clock += 3600 * second
			case 1:
				clock -= 3600 * second
			case 2:
				clock = []int64{math.MinInt64, math.MaxInt64, 0, -1, start}[r.IntN(5)]
			}
			step := []int64{1e6, 1e8, 2e8, 1e9, 60e9, 3600e9}[r.IntN(6)]
			var facts []fact
			for range r.IntN(100) {
				id := fmt.Sprint(r.IntN(lines+1) + 1)
				v := []float64{0, 95, 330, 1e9, -1e9, math.NaN(), 95 + r.NormFloat64(), 1e300}[r.IntN(8)]
				c := []fact{{tension(id), 0, v}, {payout(id), 0, v}, {brake(id), 0, v}, {underWatch(), 0, v}}[r.IntN(4)]
				c.time = clock
				facts = append(facts, c)
				clock += r.Int64N(step + 1)
			}
			source := fmt.Sprint(r.IntN(100))
			push(b, source, facts)
			changes = b.Advance(source, clock-r.Int64N(3*second), changes[:0])
			for _, c := range changes {
				key := fmt.Sprint(c.Condition, c.Line, c.Group)
				if up[key] == c.Raised {
					t.Fatalf("raised or cleared twice: %s", text(changes))
				}
				up[key] = c.Raised
				for _, v := range []float64{c.Value, c.Limit} {
					if math.IsNaN(v) || math.IsInf(v, 0) {
						t.Fatalf("a figure that is no number: %s", text(changes))
					}
				}
				if c.Detail == "" || c.Time == 0 || !c.Raised && c.Onset > c.Time {
					t.Fatalf("a change without its particulars: %s", text(changes))
				}
			}
		}
		p, err := b.Snapshot()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := detect.Restore(plan, p); err != nil {
			t.Fatal(err)
		}
		if len(b.Active()) > lines*int(detect.SensorFault)+6 {
			t.Fatalf("%d active alarms of %d lines", len(b.Active()), lines)
		}
	})
}

// A berth of 16 lines at 20 Hz keeps under 1 MiB.
func TestMemoryIsBounded(t *testing.T) {
	plan := ship(16)
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	berths := make([]*detect.Berth, 8)
	for k := range berths {
		b, s := detect.New(plan), newSteady(plan, 20)
		for range 60 {
			s.next(b, nil)
		}
		berths[k] = b
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	if each := int64(after.HeapAlloc-before.HeapAlloc) / int64(len(berths)); each > 1<<20 {
		t.Errorf("a berth takes %d bytes, want no more than %d", each, 1<<20)
	}
	runtime.KeepAlive(berths)
}
