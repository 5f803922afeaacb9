package detect

import (
	"math"

	"hawser/detect/chart"
)

// A pin is stuck when it has stood within a step and a half of its own last
// digit for 60 s while the load that the other lines speak for went beyond what
// their last digits and chance can make of it. In a flat calm all stand still,
// and nothing is told. It is stuck until it moves.
//
// Chance: were the line's load as still as its pin, the expected load would be
// that load and error, and its moving average over a second would keep within
// the limits of a chart, so that the average's range would keep within twice
// them. The limits are those of a chart that leaves them once in ten years of
// ten looks a second at one line.
const (
	stuckFor      = 60 * second
	stuckDigits   = 4      // of the coarsest last digit, least move of the expected load
	stuckMinNoise = 0.0005 // of MBL, least that the usual difference is taken for
	stuckLimits   = 6.264  // standard deviations of the average; chart.DesignEwma of 0.1 for 3.156e9
)

// stuckChart is the moving average over a second of what is read so many ticks
// apart: in between the average sees the same again, as if it weighed more.
func stuckChart(apart int64) chart.Ewma {
	return chart.Ewma{Lambda: 1 - math.Pow(1-1/float64(ticksPerSecond), float64(max(apart, 1))), L: stuckLimits}
}

// still keeps the run of readings that stand in one place.
func (p *pin) trackStill(raw float64, at int64) {
	if d := math.Abs(raw - p.Raw); p.Seen > 0 && d > 1e-9 && (p.Resolution == 0 || d < p.Resolution) {
		p.Resolution = d
	}
	p.Raw = raw
	lo, hi := min(p.StillLow, raw), max(p.StillHigh, raw)
	if p.Seen > 0 && hi-lo <= 1.5*p.Resolution {
		p.StillLow, p.StillHigh = lo, hi
		return
	}
	p.StillLow, p.StillHigh, p.StillSince = raw, raw, at
}

// expecting keeps how far the expected load of a line went while its pin stood
// still. The expected load is smoothed over a second.
func (l *line) trackExpected() {
	f, p := &l.Fit, &l.Pin
	if !f.Known {
		l.Expected = expectedRange{}
		return
	}
	e := &l.Expected
	if e.Since == 0 {
		e.Smooth = f.Expected
	}
	e.Smooth += (f.Expected - e.Smooth) / float64(ticksPerSecond)
	if e.Since != p.StillSince {
		*e = expectedRange{Since: p.StillSince, Smooth: e.Smooth, Low: e.Smooth, High: e.Smooth, Noise: f.Noise}
	}
	e.Low, e.High = min(e.Low, e.Smooth), max(e.High, e.Smooth)
}

// expectation is the expected load while a pin stands still, kN.
type expectedRange struct {
	Since             int64
	Smooth, Low, High float64
	Noise             float64 // usual difference when the pin came to a stand
}

func (b *Berth) stuck(now moment, i int) bool {
	l := &b.state.Lines[i]
	p, e := &l.Pin, &l.Expected
	if p.Seen <= 20 || p.LastAt-p.StillSince < stuckFor {
		return false
	}
	if l.Health.Fault == stuckPin { // it is so until it moves
		return true
	}
	if !l.Fit.Known || l.tended(now) {
		return false
	}
	coarse, apart := 0.0, int64(1)
	for k := range b.state.Lines {
		o := &b.state.Lines[k].Pin
		coarse, apart = max(coarse, o.Resolution), max(apart, o.intervalTicks())
	}
	chance := 2 * stuckChart(apart).Settled() * chart.MeanScale * max(e.Noise, stuckMinNoise*p.MBL)
	moved, most := e.High-e.Low, max(stuckDigits*coarse*l.Fit.ErrorGain, chance)
	b.report(StuckRange, i, moved, most)
	return moved >= most
}
