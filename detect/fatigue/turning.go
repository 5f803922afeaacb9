package fatigue

// Turning finds the turning points of a history, sample by sample. The zero value
// is ready. A turning point is told once the load has come back from it by the
// gate: what swings by less makes none, so that the noise of a load pin is no
// cycle. With a gate of 0 every reversal is one.
//
// With a gate the cycles counted are those counted without it whose range is the
// gate or more, and no others (the rainflow filter; a test holds it to that).
type Turning struct {
	// Low and High are the extremes since the last turning point, of which the one
	// in Trend's direction may become the next.
	Low  float64 `json:"low"`
	High float64 `json:"high"`
	// Trend is 1 rising, -1 falling, 0 before the first turning point.
	Trend int8 `json:"trend"`
	// Begun is set by the first sample.
	Begun bool `json:"begun"`
}

// Next takes a sample and gives a turning point where it shows one.
func (t *Turning) Next(x, gate float64) (point float64, ok bool) {
	switch {
	case t.Trend > 0:
		if x >= t.High {
			t.High = x
		} else if t.High-x >= gate {
			t.Trend, t.Low = -1, x
			return t.High, true
		}
	case t.Trend < 0:
		if x <= t.Low {
			t.Low = x
		} else if x-t.Low >= gate {
			t.Trend, t.High = 1, x
			return t.Low, true
		}
	default:
		return t.first(x, gate)
	}
	return 0, false
}

// first looks for the start of the history: the extreme that the load has left by
// the gate.
func (t *Turning) first(x, gate float64) (point float64, ok bool) {
	switch {
	case !t.Begun:
		t.Low, t.High, t.Begun = x, x, true
	case x > t.High:
		if t.High = x; x-t.Low >= gate {
			t.Trend = 1
			return t.Low, true
		}
	case x < t.Low:
		if t.Low = x; t.High-x >= gate {
			t.Trend = -1
			return t.High, true
		}
	}
	return 0, false
}

// Open is the extreme that would be the last turning point if the history ended
// here.
func (t *Turning) Open() (point float64, ok bool) {
	switch {
	case t.Trend > 0:
		return t.High, true
	case t.Trend < 0:
		return t.Low, true
	}
	return 0, false
}
