package detect

import "math"

// drum is the inboard end of a line on a winch: its brake and what it has paid
// out, metres, positive outboard. A line on bitts, or without these sensors,
// counts as made fast.
type drum struct {
	Released   bool  // the brake is off: the line is being worked
	ReleasedAt int64 // last time that was so, 0 for never
}

func (d *drum) start() {}

// brake takes a reading of the brake.
func (d *drum) brake(s *sample) {
	if !math.IsNaN(s.Value) {
		d.Released = s.Value < 0.5
		if d.Released {
			d.ReleasedAt = s.Time
		}
	}
}

// payout takes a reading of the length paid out.
func (d *drum) payout(*sample) {}
