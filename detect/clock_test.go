package detect_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"hawser/detect"
)

// A source's clock that is set right, by an hour either way, makes no events. Set
// back, its readings are late for an hour, counted, and nothing is told; set
// forward, there is an hour without a reading, which is a gap of every pin and no
// more. Between, readings come with the jitter of a slow radio.
func TestClockSetByAnHour(t *testing.T) {
	for name, by := range map[string]int64{"back": -3600 * second, "forward": 3600 * second} {
		t.Run(name, func(t *testing.T) {
			plan := ship(8)
			r := rand.New(rand.NewPCG(1, 9))
			b := detect.New(plan)
			var changes []detect.Change
			const from, to = 400, 4600 // s; the clock is set at the first
			sent := uint64(0)
			for s := range int64(to) {
				clock := start + s*second
				if s >= from {
					clock += by
				}
				sway := 6*math.Sin(float64(s)/3) + 20*math.Sin(float64(s)/200)
				var facts []fact
				for _, l := range plan.Lines {
					for _, k := range []int64{0, 1} {
						at := clock + k*second/2 + r.Int64N(4e8)
						facts = append(facts, fact{tension(l.ID), at, math.Round(100 + sway + r.NormFloat64())})
					}
					facts = append(facts, fact{payout(l.ID), clock + r.Int64N(9e8), 0.001 * r.NormFloat64()},
						fact{brake(l.ID), clock + 5e8, 1})
				}
				if s >= from && s < from+3600 {
					sent += uint64(len(facts))
				}
				push(b, "a", facts)
				changes = b.Advance("a", clock+second-1, changes)
			}
			told := 0
			for _, c := range changes {
				if c.Condition != detect.SensorFault || by < 0 {
					t.Errorf("told: %s", text([]detect.Change{c}))
				}
				if c.Raised {
					told++
				}
			}
			if late := b.Oddities().Late; by < 0 && late < sent*99/100 {
				t.Errorf("%d of %d late readings counted", late, sent)
			}
			if by > 0 && told != len(plan.Lines) {
				t.Errorf("%d gaps told of %d lines", told, len(plan.Lines))
			}
			if len(b.Active()) != 0 {
				t.Errorf("still told: %s", text(b.Active()))
			}
		})
	}
}
