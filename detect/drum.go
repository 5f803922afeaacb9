package detect

import "math"

// drum is the inboard end of a line on a winch: its brake and what it has paid
// out, metres, positive outboard. A line on bitts, or without these sensors,
// counts as made fast. Pay-out is the median of the last three readings: a lone
// wrong one moves nothing.
type drum struct {
	Released   bool  // the brake is off: the line is being worked
	ReleasedAt int64 // last time that was so, 0 for never

	Seen          int64 // pay-out readings
	Prev          [2]float64
	PaidOut       float64 // m
	PaidOutBefore float64 // Out of two readings ago
	PaidOutAt     int64
}

// brake takes a reading of the brake.
func (d *drum) brakeReading(s *sample) {
	if !math.IsNaN(s.Value) {
		d.Released = s.Value < 0.5
		if d.Released {
			d.ReleasedAt = s.Time
		}
	}
}

// payout takes a reading of the length paid out.
func (d *drum) payoutReading(s *sample) {
	v := s.Value
	if math.IsNaN(v) {
		return
	}
	if d.Seen == 0 {
		d.Prev, d.PaidOut = [2]float64{v, v}, v
	}
	d.PaidOutBefore = d.PaidOut
	d.PaidOut = median3(d.Prev[0], d.Prev[1], v)
	d.Prev[0], d.Prev[1] = d.Prev[1], v
	d.Seen++
	d.PaidOutAt = s.Time
}
