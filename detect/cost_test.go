package detect_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/detect/reading"
)

// steady is a source that sends a second of a quiet mooring at a time: loads at
// 10 Hz that follow a swell, pay-out and brakes at 1 Hz.
type steady struct {
	columns []reading.Series
	rate    int64
	noise   *rand.Rand
	second  int64
}

func newSteady(plan *mooring.Plan, rate int64) *steady {
	s := &steady{rate: rate, noise: rand.New(rand.NewPCG(1, 1))}
	for _, l := range plan.Lines {
		if !l.Instrumented {
			continue
		}
		for _, c := range []reading.Channel{tension(l.ID), payout(l.ID), brake(l.ID)} {
			n := int64(1)
			if c.Kind == reading.Tension {
				n = rate
			}
			s.columns = append(s.columns, reading.Series{Channel: c, Time: make([]int64, n), Value: make([]float64, n)})
		}
	}
	return s
}

// next pushes the next second into b and returns the number of load readings.
func (s *steady) next(b *detect.Berth, dst []detect.Change) ([]detect.Change, int) {
	loads := 0
	from := start + s.second*second
	for i := range s.columns {
		c := &s.columns[i]
		for k := range c.Time {
			c.Time[k] = from + int64(k)*second/s.rate
			switch c.Channel.Kind {
			case reading.Tension:
				loads++
				t := float64(c.Time[k]-start) / 1e9
				c.Value[k] = math.Round(2*(100+5*math.Sin(t/2)+s.noise.NormFloat64())) / 2
			case reading.Brake:
				c.Value[k] = 1
			}
		}
		b.Push("a", c)
	}
	s.second++
	return b.Advance("a", from+second-1, dst[:0]), loads
}

// The hot path makes no garbage once the berth has settled.
func TestSteadyStateAllocatesNothing(t *testing.T) {
	plan := ship(16)
	b, s := detect.New(plan), newSteady(plan, 10)
	var dst []detect.Change
	for range 200 {
		dst, _ = s.next(b, dst)
	}
	if n := testing.AllocsPerRun(100, func() { dst, _ = s.next(b, dst) }); n != 0 {
		t.Errorf("%.1f allocations for a second of 16 lines, want none", n)
	}
}

// A berth of 40 lines keeps under 1 MiB.
func TestSnapshotIsSmall(t *testing.T) {
	plan := ship(40)
	b, s := detect.New(plan), newSteady(plan, 20)
	var dst []detect.Change
	for range 120 {
		dst, _ = s.next(b, dst)
	}
	p, err := b.Snapshot()
	if err != nil {
		t.Fatal(err)
	}
	if len(p) > 1<<19 {
		t.Errorf("snapshot of 40 lines is %d bytes, want no more than %d", len(p), 1<<19)
	}
}

// Cost of everything from Push to changes, per load reading, as lines grow.
func BenchmarkSecond(b *testing.B) {
	for _, c := range []struct{ lines, unmeasured int }{{4, 0}, {16, 0}, {40, 0}, {22, 6}} {
		b.Run(fmt.Sprintf("lines=%d,unmeasured=%d", c.lines, c.unmeasured), func(b *testing.B) {
			plan := ship(c.lines)
			for i := range c.unmeasured { // one of each group
				plan.Lines[i].Instrumented = false
			}
			berth, s := detect.New(plan), newSteady(plan, 10)
			var dst []detect.Change
			total := 0
			b.ReportAllocs()
			for b.Loop() {
				var n int
				dst, n = s.next(berth, dst)
				total += n
			}
			if odd := berth.Oddities(); odd != (detect.Oddities{}) {
				b.Fatalf("readings not used: %+v", odd)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(total), "ns/load")
		})
	}
}

func BenchmarkSnapshot(b *testing.B) {
	plan := ship(16)
	berth, s := detect.New(plan), newSteady(plan, 10)
	for range 200 {
		s.next(berth, nil)
	}
	size := 0
	for b.Loop() {
		p, err := berth.Snapshot()
		if err != nil {
			b.Fatal(err)
		}
		if _, err := detect.Restore(plan, p); err != nil {
			b.Fatal(err)
		}
		size = len(p)
	}
	b.ReportMetric(float64(size), "bytes")
}
