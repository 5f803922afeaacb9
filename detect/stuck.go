package detect

import "math"

// A pin is stuck when it has stood within a step and a half of its own last
// digit for 60 s while the load that the other lines speak for went well beyond
// what their last digits and the usual difference between the two can make of
// it. In a flat calm all stand still, and nothing is told. It is stuck until it moves.
const (
	stuckFor    = 60 * second
	stuckSteps  = 4 // of the coarsest last digit, least move of the expected load
	stuckNoises = 6 // of the usual difference
)

// still keeps the run of readings that stand in one place.
func (p *pin) still(raw float64, at int64) {
	if d := math.Abs(raw - p.Raw); p.Seen > 0 && d > 1e-9 && (p.Step == 0 || d < p.Step) {
		p.Step = d
	}
	p.Raw = raw
	lo, hi := min(p.StillLow, raw), max(p.StillHigh, raw)
	if p.Seen > 0 && hi-lo <= 1.5*p.Step {
		p.StillLow, p.StillHigh = lo, hi
		return
	}
	p.StillLow, p.StillHigh, p.StillSince = raw, raw, at
}

// expecting keeps how far the expected load of a line went while its pin stood
// still. The expected load is smoothed over a second.
func (l *line) expecting() {
	f, p := &l.Fit, &l.Pin
	if !f.Known {
		l.Watched = expectation{}
		return
	}
	e := &l.Watched
	if e.Since != p.StillSince {
		*e = expectation{Since: p.StillSince, Smooth: f.Expect, Low: f.Expect, High: f.Expect, Noise: f.Noise}
	}
	e.Smooth += (f.Expect - e.Smooth) / float64(perSecond)
	e.Low, e.High = min(e.Low, e.Smooth), max(e.High, e.Smooth)
}

// expectation is the expected load while a pin stands still, kN.
type expectation struct {
	Since             int64
	Smooth, Low, High float64
	Noise             float64 // usual difference when the pin came to a stand
}

func (b *Berth) stuck(now moment, i int) bool {
	l := &b.state.Lines[i]
	p, e := &l.Pin, &l.Watched
	if p.Seen <= 20 || p.LastAt-p.StillSince < stuckFor {
		return false
	}
	if l.Health.Fault == stuckPin { // it is so until it moves
		return true
	}
	if !l.Fit.Known || l.worked(now) {
		return false
	}
	coarse := 0.0
	for k := range b.state.Lines {
		coarse = max(coarse, b.state.Lines[k].Pin.Step)
	}
	moved, most := e.High-e.Low, max(stuckSteps*coarse*l.Fit.Gain, stuckNoises*max(e.Noise, 0.0005*p.MBL))
	b.weigh(StillWhile, i, moved, most)
	return moved >= most
}
