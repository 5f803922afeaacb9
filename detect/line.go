package detect

import "math"

// line is all that is known of one line.
type line struct {
	Pin       pin
	Drum      drum
	Fit       lineFit
	Stiffness stiffnessRatio
	// Loads and Offs are the load and its unexplained part of the last ticks, by
	// tick; NaN where not known.
	Loads, Residuals [tickHistory]float64
	// Pull is what the line pulls the ship with against some time ago, kN; Told the
	// load of the last look, NaN where no pin tells; Own what is not the ship's way
	// in the pull of the last looks.
	Pull, StepLoad float64
	OwnChange      [historySteps]float64
	MinuteMean     float64 // 60 s mean of the load, kN
	MinuteMeanOK   bool
	Trend          trend
	Overload       latch
	Parting        parting
	Slip           slip
	Health         health
	Expected       expectedRange
	Zero           zero
	LoadLoss       loadLoss
	Snap           snap
	Imbalance      latch
	Slack          latch
	Approach       latch
}

func (l *line) start(mbl float64) {
	l.Pin.MBL = mbl
	l.Pin.Last, l.StepLoad = missing, missing
	l.Stiffness.Ratio = 1
	l.Slip.reset()
	l.LoadLoss.reset()
	l.Snap.Slack = snapWithin + 1
	for k := range l.Loads {
		l.Loads[k], l.Residuals[k] = missing, missing
	}
}

// keep notes the tick in the line's short memory.
func (l *line) record(now moment) {
	k := now.Tick % tickHistory
	l.Loads[k], l.Residuals[k] = missing, missing
	if now.Second {
		l.MinuteMean, l.MinuteMeanOK = l.Pin.mean(60)
	}
	if l.Pin.fresh(now) {
		l.Loads[k] = l.Pin.Last
	}
	if l.Fit.Known && l.Fit.Weight > 0 {
		l.Residuals[k] = l.Fit.Residual
	}
}

// recent is the load n ticks ago, n < recentKept.
func (l *line) loadAgo(now moment, n int64) float64 { return l.Loads[(now.Tick-n)%tickHistory] }

// fallBegan looks back for the tick at which a load that is now gone began to
// fall, and the load it had. The median shows a fall one reading late.
func (l *line) fallStart(now moment) (tick int64, load float64) {
	load = l.loadAgo(now, collapseTicks)
	for n := int64(collapseTicks); n > 0; n-- {
		v := l.loadAgo(now, n-1)
		if !math.IsNaN(v) && v < 0.85*load {
			return now.Tick - n + 1 - l.Pin.intervalTicks(), load
		}
		if v > load {
			load = v
		}
	}
	return now.Tick - l.Pin.intervalTicks(), load
}

// falling is how many ticks a load that is now gone took from 0.8 to 0.3 of what
// it was.
func (l *line) fallTicks(now moment, load float64) (ticks int64) {
	for n := range int64(2 * collapseTicks) {
		if v := l.loadAgo(now, n); v >= 0.8*load {
			break
		} else if v > 0.3*load || ticks > 0 {
			ticks++
		}
	}
	return ticks
}

// least is the least load from n ticks ago until partFall ticks ago.
func (l *line) minLoad(now moment, n int64) float64 {
	low := math.Inf(1)
	for ; n > collapseTicks; n-- {
		if v := l.loadAgo(now, n); v < low {
			low = v
		}
	}
	return low
}

// lag is the usual time between readings in ticks.
func (p *pin) intervalTicks() int64 { return int64(p.Interval*float64(ticksPerSecond) + 0.5) }

// settled is how long after its brake is set a line still counts as worked,
// and unsaid how long a brake that was last seen off counts as off.
const (
	brakeSettle = 5 * second
	brakeStale  = 30 * second
)

// worked reports whether the line is being worked by hand: its brake is off,
// or was a moment ago.
func (l *line) tended(now moment) bool {
	d := &l.Drum
	if d.ReleasedAt == 0 {
		return false
	}
	since := now.Time - d.ReleasedAt
	return since <= brakeSettle || d.Released && since <= brakeStale
}

// resume begins anew what counts in seconds, after a time without any reading.
func (l *line) restart() {
	l.Pin.SecAt, l.Pin.SecSum, l.Pin.SecCount, l.MinuteMeanOK = 0, 0, 0, false
	l.Pin.Tally = [10]tally{}
	for k := range l.Loads {
		l.Loads[k], l.Residuals[k] = missing, missing
	}
	l.StepLoad = missing
	l.Slip.reset()
	l.LoadLoss.reset()
	l.Trend.Count, l.Trend.Steady, l.Fit.Age = 0, false, 0
	l.Parting.FirstTest, l.Parting.TestSince, l.Parting.FellAt = 0, 0, 0
}
