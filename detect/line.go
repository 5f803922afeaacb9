package detect

import "math"

// line is all that is known of one line.
type line struct {
	Pin    pin
	Drum   drum
	Fit    fitted
	Giving giving
	// Loads and Offs are the load and its unexplained part of the last ticks, by
	// tick; NaN where not known.
	Loads, Offs [recentKept]float64
	// Pull is what the line pulls the ship with against some time ago, kN; Told the
	// load of the last look, NaN where no pin tells; Own what is not the ship's way
	// in the pull of the last looks.
	Pull, Told float64
	Own        [looksKept]float64
	Minute     float64 // 60 s mean of the load, kN
	MinuteOK   bool
	Trend      trend
	Over       latch
	Part       part
	Slip       slip
	Health     health
	Watched    expectation
	Zero       zero
	Loss       loss
	Snap       snap
	Imbalance  latch
	Slack      latch
	Approach   latch
}

func (l *line) start(mbl float64) {
	l.Pin.MBL = mbl
	l.Pin.Last, l.Told = bad, bad
	l.Giving.Ratio = 1
	l.Slip.forget()
	l.Loss.forget()
	l.Snap.Slack = snapWithin + 1
	for k := range l.Loads {
		l.Loads[k], l.Offs[k] = bad, bad
	}
}

// keep notes the tick in the line's short memory.
func (l *line) keep(now moment) {
	k := now.Tick % recentKept
	l.Loads[k], l.Offs[k] = bad, bad
	if now.Second {
		l.Minute, l.MinuteOK = l.Pin.mean(60)
	}
	if l.Pin.fresh(now) {
		l.Loads[k] = l.Pin.Last
	}
	if l.Fit.Known && l.Fit.Weight > 0 {
		l.Offs[k] = l.Fit.Off
	}
}

// recent is the load n ticks ago, n < recentKept.
func (l *line) recent(now moment, n int64) float64 { return l.Loads[(now.Tick-n)%recentKept] }

// fallBegan looks back for the tick at which a load that is now gone began to
// fall, and the load it had. The median shows a fall one reading late.
func (l *line) fallBegan(now moment) (tick int64, load float64) {
	load = l.recent(now, partFall)
	for n := int64(partFall); n > 0; n-- {
		v := l.recent(now, n-1)
		if !math.IsNaN(v) && v < 0.85*load {
			return now.Tick - n + 1 - l.Pin.lag(), load
		}
		if v > load {
			load = v
		}
	}
	return now.Tick - l.Pin.lag(), load
}

// falling is how many ticks a load that is now gone took from 0.8 to 0.3 of what
// it was.
func (l *line) falling(now moment, load float64) (ticks int64) {
	for n := range int64(2 * partFall) {
		if v := l.recent(now, n); v >= 0.8*load {
			break
		} else if v > 0.3*load || ticks > 0 {
			ticks++
		}
	}
	return ticks
}

// least is the least load from n ticks ago until partFall ticks ago.
func (l *line) least(now moment, n int64) float64 {
	low := math.Inf(1)
	for ; n > partFall; n-- {
		if v := l.recent(now, n); v < low {
			low = v
		}
	}
	return low
}

// lag is the usual time between readings in ticks.
func (p *pin) lag() int64 { return int64(p.Gap*float64(perSecond) + 0.5) }

// settled is how long after its brake is set a line still counts as worked,
// and unsaid how long a brake that was last seen off counts as off.
const (
	settled = 5 * second
	unsaid  = 30 * second
)

// worked reports whether the line is being worked by hand: its brake is off,
// or was a moment ago.
func (l *line) worked(now moment) bool {
	d := &l.Drum
	if d.ReleasedAt == 0 {
		return false
	}
	since := now.Time - d.ReleasedAt
	return since <= settled || d.Released && since <= unsaid
}

// resume begins anew what counts in seconds, after a time without any reading.
func (l *line) resume() {
	l.Pin.SecAt, l.Pin.SecSum, l.Pin.SecCount, l.MinuteOK = 0, 0, 0, false
	l.Pin.Tally = [10]tally{}
	for k := range l.Loads {
		l.Loads[k], l.Offs[k] = bad, bad
	}
	l.Told = bad
	l.Slip.forget()
	l.Loss.forget()
	l.Trend.Count, l.Trend.Steady, l.Fit.Age = 0, false, 0
	l.Part.Since, l.Part.Trial, l.Part.Fell = 0, 0, 0
}
