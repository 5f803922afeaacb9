package detect

import "math"

// drum is the inboard end of a line on a winch: its brake and what it has paid out,
// metres, positive outboard. A line on bitts, or without these sensors, counts as made
// fast. Pay-out is the median of the last three readings, so that an isolated wrong one
// has no effect.
type drum struct {
	Released   bool  // the brake is off: the line is being tended
	ReleasedAt int64 // last time that was so, 0 for never
	TakenOffAt int64 // time at which it was last taken off, 0 for never
	BrakeKnown bool  // a reading of the brake came

	Seen          int64 // pay-out readings
	Prev          [2]float64
	PrevAt        [2]int64 // their times
	PaidOut       float64  // m
	PaidOutBefore float64  // PaidOut of two readings ago
	PaidOutAt     int64
	Since         int64 // time of the oldest of the readings that PaidOut is the median of
}

// brakeReading takes a reading of the brake: 1 set, 0 released.
func (d *drum) brakeReading(s *sample) {
	if !math.IsNaN(s.Value) {
		off := s.Value < 0.5
		if off && !d.Released {
			d.TakenOffAt = s.Time
		}
		if off {
			d.ReleasedAt = s.Time
		}
		d.Released, d.BrakeKnown = off, true
	}
}

// payoutReading takes a reading of the length paid out, m.
func (d *drum) payoutReading(s *sample) {
	v := s.Value
	if math.IsNaN(v) {
		return
	}
	if d.Seen == 0 {
		d.Prev, d.PaidOut = [2]float64{v, v}, v
		d.PrevAt = [2]int64{s.Time, s.Time}
	}
	d.PaidOutBefore = d.PaidOut
	d.PaidOut = median3(d.Prev[0], d.Prev[1], v)
	d.Since = d.PrevAt[0]
	d.Prev[0], d.Prev[1] = d.Prev[1], v
	d.PrevAt[0], d.PrevAt[1] = d.PrevAt[1], s.Time
	d.Seen++
	d.PaidOutAt = s.Time
}

// acrossSilence reports whether PaidOut is of readings between which others are missing:
// nobody knows whether the brake was off then.
func (d *drum) acrossSilence() bool {
	before, after := d.PrevAt[0]-d.Since, d.PrevAt[1]-d.PrevAt[0]
	return max(before, after) > max(drumSilence, 3*min(before, after))
}

// tended reports whether the line is being tended by hand: its brake is off, or was a
// moment ago.
func (l *line) tended(now moment) bool {
	d := &l.Drum
	if d.ReleasedAt == 0 {
		return false
	}
	since := now.Time - d.ReleasedAt
	return since <= brakeSettle || d.Released && since <= brakeStale
}

const (
	drumSilence = 2 * second  // between readings that come oftener
	brakeSettle = 5 * second  // after the brake is set, the line still counts as tended
	brakeStale  = 30 * second // after its last reading, a released brake no longer counts
)
