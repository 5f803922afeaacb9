package detect

import "math"

// drum is the inboard end of a line on a winch: its brake and what it has paid
// out, metres, positive outboard. A line on bitts, or without these sensors,
// counts as made fast. Pay-out is the median of the last three readings: a lone
// wrong one moves nothing.
type drum struct {
	Released   bool  // the brake is off: the line is being worked
	ReleasedAt int64 // last time that was so, 0 for never

	Seen   int64 // pay-out readings
	Last   [2]float64
	Out    float64 // m
	Before float64 // Out of two readings ago
	OutAt  int64
}

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
func (d *drum) payout(s *sample) {
	v := s.Value
	if math.IsNaN(v) {
		return
	}
	if d.Seen == 0 {
		d.Last, d.Out = [2]float64{v, v}, v
	}
	d.Before = d.Out
	d.Out = median3(d.Last[0], d.Last[1], v)
	d.Last[0], d.Last[1] = d.Last[1], v
	d.Seen++
	d.OutAt = s.Time
}
