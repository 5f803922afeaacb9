package detect

import (
	"math"

	"hawser/detect/chart"
)

// A pin is stuck when it has stood within a step and a half of its own last digit for
// 60 s while two others or more have moved, later than those that come to a standstill
// with it (see standstill), and either the load expected from the others has changed by
// more than their last digits and chance allow, or the line always moved when they did
// (see stillAmongMovers). In a flat calm all stand still, and nothing is raised. It is
// stuck until it moves.
//
// Chance: if the line's load were as still as its pin, the expected load would be that
// load and error, and its EWMA over a second would keep within the limits of a chart, so
// that its range would keep within twice them. The limits are those of a chart that
// leaves them once in ten years of ten observations a second at one line.
const (
	stuckFor      = 60 * second
	stuckSuspect  = 10 * second // from which it may be
	stuckUnusual  = 10          // times as many readings without a change as usual
	stuckDigits   = 4           // of the coarsest last digit, least move of the expected load
	stuckMinNoise = 0.0005      // of MBL; least mean residual that is assumed
	stuckMovers   = 2           // other pins that must have moved as far since: one alone may be at fault itself
	stuckLimits   = 6.264       // standard deviations of the average; chart.DesignEwma of 0.1 for 3.156e9
)

// stuckChart is the EWMA over a second of readings so many ticks apart: in between the
// average sees the same reading again, so each weighs the more.
func stuckChart(apart int64) chart.Ewma {
	return chart.Ewma{Lambda: 1 - math.Pow(1-1/float64(ticksPerSecond), float64(max(apart, 1))), L: stuckLimits}
}

// trackStill keeps the run of readings that stand still.
func (p *pin) trackStill(raw float64, at int64) {
	if d := math.Abs(raw - p.Raw); p.Seen > 0 && d > 1e-9 {
		if p.Resolution == 0 || d < p.Resolution {
			p.Resolution = d
		}
		if p.MovedAt == 0 {
			p.NewEvery = float64(p.Same)
		}
		p.NewEvery += (float64(p.Same) - p.NewEvery) / 16
		p.MovedAt, p.Same = at, 0
	}
	p.Same++
	p.Raw = raw
	if p.Seen == 0 {
		p.Still, p.Calm = stand{raw, raw, at}, stand{raw, raw, 0}
	}
	p.Still.take(raw, 1.5*p.Resolution, at)
	p.Calm.take(raw, stuckDigits*p.Resolution, at)
}

// stand is how long readings have stood within a band.
type stand struct {
	Low, High float64
	Since     int64 // when they last left it
}

// take takes a reading, and starts again with it where they no longer keep within a band
// of this width.
func (s *stand) take(v, width float64, at int64) {
	s.Low, s.High = min(s.Low, v), max(s.High, v)
	if s.High-s.Low > width {
		*s = stand{v, v, at}
	}
}

// trackExpected keeps the range of a line's expected load while its pin stands still.
// The expected load is smoothed over a second.
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
	if e.Since != p.Still.Since {
		*e = expectedRange{Since: p.Still.Since, Smooth: e.Smooth, Low: e.Smooth, High: e.Smooth, Noise: f.Noise}
	}
	e.Low, e.High = min(e.Low, e.Smooth), max(e.High, e.Smooth)
}

// expectedRange is the expected load while a pin stands still, kN.
type expectedRange struct {
	Since             int64 // pin.StillSince
	Smooth, Low, High float64
	Noise             float64 // mean residual when the pin came to a stand
}

// stuck reports whether line i's pin is stuck.
func (b *Berth) stuck(now moment, i int) bool {
	l := &b.state.Lines[i]
	p, e := &l.Pin, &l.Expected
	if p.Seen <= 20 || p.LastAt-p.Still.Since < stuckFor {
		return false
	}
	if l.Health.Fault == stuckPin { // until it moves
		return true
	}
	if l.tended(now) || b.movedSince(i, p.Still.Since+standstillTogether) < stuckMovers {
		return false
	}
	if b.stillAmongMovers(now, i) {
		return true
	}
	if !l.Fit.Known {
		return false
	}
	resolution, apart := 0.0, int64(1) // the coarsest and the slowest pin
	for k := range b.state.Lines {
		o := &b.state.Lines[k].Pin
		resolution, apart = max(resolution, o.Resolution), max(apart, o.intervalTicks())
	}
	chance := 2 * stuckChart(apart).Settled() * chart.MeanScale * max(e.Noise, stuckMinNoise*p.MBL)
	span, threshold := e.High-e.Low, max(stuckDigits*resolution*l.Fit.ErrorGain, chance)
	b.report(StuckRange, i, span, threshold)
	return span >= threshold
}

// mayBeStuck reports whether a pin that has a say in where the ship is stands still that
// seldom did, while others move: it will be found stuck if it goes on.
func (b *Berth) mayBeStuck(now moment) bool {
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		p, still := &l.Pin, l.Pin.LastAt-l.Pin.MovedAt
		if b.monitored(now, i) && l.Fit.Weight > 0 && still >= stuckSuspect && still < stuckFor+blockSeconds*second &&
			float64(p.Same) >= stuckUnusual*max(p.NewEvery, 1) && b.movedSince(i, p.MovedAt+standstillTogether) >= stuckMovers {
			return true
		}
	}
	return false
}

// movedSince is how many other pins have moved by stuckDigits since a time.
func (b *Berth) movedSince(i int, since int64) (n int) {
	for k := range b.state.Lines {
		if l := &b.state.Lines[k]; k != i && b.plan.Lines[k].Instrumented && l.Health.Fault == healthy && l.Pin.Calm.Since > since {
			n++
		}
	}
	return n
}
