package detect

import "fmt"

// brakeSlip watches lines whose brake is set, on a winch with a pay-out sensor. It is
// raised when the drum has paid out the plan's slip or more within 60 s, metres. A drum
// moves a little as its brake takes up: the first seconds after it is set do not count, nor
// does what slow readings still tell of the time before, or, while a crew is at work, what
// it did while nothing was heard of it.
// One slipping is one alarm however often the drum runs: a brake that gave in one gust
// gives in the next, and rest does not mend it. So it is cleared when the line has been
// tended and has then held for 10 min, or slips anew, or after an hour at rest. Source:
// delays are common practice, no source.
const (
	slipWindow      = 60
	slipClear       = 60 * 60 // seconds without slip
	slipTendedClear = 10 * 60 // of them, after the line was tended
)

// slip is a line's state with respect to its brake.
type slip struct {
	Up     bool
	Tended bool                // since it was raised
	Lows   [slipWindow]float64 // least paid out in each of the last seconds, m; NaN for none
	Low    float64             // of the present second, m
	Quiet  int32               // seconds since the drum last moved that far
	LowAt  [slipWindow]int64   // time of each low
	At     int64               // time of the low of the present second
}

// reset empties the window.
func (s *slip) reset() {
	for k := range s.Lows {
		s.Lows[k] = missing
	}
	s.Low = missing
}

// brakeSlip is the tick's step of every line.
func (b *Berth) brakeSlip(now moment) {
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		s, d := &l.Slip, &l.Drum
		if b.state.Watch.Off || b.tended(now, i) || l.Parting.Latch.Up {
			if s.Up && l.Parting.Latch.Up {
				b.slipCleared(now, i, "has parted")
			}
			s.reset()
			s.Tended = s.Tended || s.Up && b.tended(now, i)
			s.Quiet = max(s.Quiet, slipClear-slipTendedClear)
			continue
		}
		if d.Seen > 0 && now.Time-d.PaidOutAt <= tickLength && d.Since > d.ReleasedAt { // read in this tick, with the brake set
			if d.acrossSilence() && b.handled(now) {
				s.reset()
			} else {
				if !(s.Low <= d.PaidOut) {
					s.Low, s.At = d.PaidOut, d.PaidOutAt
				}
				b.slipped(now, i)
			}
		}
		if now.Second {
			k := now.Time / second % slipWindow
			s.Lows[k], s.LowAt[k], s.Low = s.Low, s.At, missing
			if s.Quiet++; s.Up && s.Quiet >= slipClear {
				b.slipCleared(now, i, "was not seen to slip again")
			}
		}
	}
}

// slipped compares what line i has now paid out with the least of the window.
func (b *Berth) slipped(now moment, i int) {
	s, d := &b.state.Lines[i].Slip, &b.state.Lines[i].Drum
	low := s.Low
	for _, v := range s.Lows {
		if v < low {
			low = v
		}
	}
	run := d.PaidOut - low
	b.report(PaidOut, i, run, b.plan.Limits.SlipM)
	if run < b.plan.Limits.SlipM {
		return
	}
	// The line is longer now: its fit restarts.
	s.Quiet, b.state.DisturbedAt = 0, b.state.Tick
	b.state.Lines[i].Fit.Age = 0
	if b.newSlip(now, i) {
		b.slipRaised(now, i, s.restedAt(low+run/10), run)
	}
}

// newSlip reports whether a slip of line i is news, and holds it as known. What slips
// again after the line was tended is.
func (b *Berth) newSlip(now moment, i int) bool {
	s := &b.state.Lines[i].Slip
	if s.Tended {
		b.slipCleared(now, i, "was tended and slips again")
	}
	known := s.Up
	s.Up = true
	return !known
}

// leastSince is the least that the drum had paid out since a time within the window, or
// paidOut where that is less, m.
func (s *slip) leastSince(t int64, paidOut float64) float64 {
	if s.At >= t && s.Low < paidOut {
		paidOut = s.Low
	}
	for k, v := range s.Lows {
		if s.LowAt[k] >= t && v < paidOut {
			paidOut = v
		}
	}
	return paidOut
}

// restedAt is when the drum was last at rest, Unix nanoseconds: the newest of the window
// at which no more than this was paid out. The least itself may be an old flicker of the
// sensor.
func (s *slip) restedAt(restM float64) int64 {
	at := int64(0)
	if s.Low <= restM {
		at = s.At
	}
	for k, v := range s.Lows {
		if v <= restM {
			at = max(at, s.LowAt[k])
		}
	}
	return at
}

// slipRaised raises brake-slip for line i.
func (b *Berth) slipRaised(now moment, i int, from int64, run float64) {
	l := &b.state.Lines[i]
	load := ""
	if b.monitored(now, i) {
		load = fmt.Sprintf(" and then carried %.0f kN (%s of MBL)", whole(l.Pin.Last), b.percent(i, l.Pin.Last))
	}
	b.raise(now, i, Change{Condition: BrakeSlip, By: PaidOut, Onset: from, Value: run, Limit: b.plan.Limits.SlipM, HasLimit: true, Unit: "m",
		Detail: fmt.Sprintf("Line %s paid out %.2f m in %.0f s with the brake set%s; keep clear of the mooring deck and check the brake.",
			b.id(i), run, max(1, float64(now.Time-from)/float64(second)), load)})
}

// slipCleared clears it, with what became of the line.
func (b *Berth) slipCleared(now moment, i int, became string) {
	l := &b.state.Lines[i]
	l.Slip.Up, l.Slip.Tended = false, false
	b.clear(now, i, Change{Condition: BrakeSlip, Value: 0, Limit: b.plan.Limits.SlipM, HasLimit: true, Unit: "m",
		Detail: fmt.Sprintf("Line %s %s.", b.id(i), became)})
}
