package detect

import (
	"fmt"
)

// snapLoad watches for lines that come taut with a jerk. It is raised when a line goes
// from slack (the plan's slack share of MBL) to over the plan's snap share within 2 s,
// and cleared after 120 s without another: snatching in a swell is one alarm, not one a
// wave. kN.
const (
	snapWithin = 2 * ticksPerSecond
	snapRest   = 120 * ticksPerSecond
)

// snap is a line's state with respect to snap loads.
type snap struct {
	Latch latch
	Slack int32 // ticks since the line was slack, up to snapWithin+1
}

// snapLoad is the tick's step of every line.
func (b *Berth) snapLoad(now moment) {
	slack, hard := float64(b.plan.Limits.SlackFraction), float64(b.plan.Limits.SnapFraction)
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		p := &l.Snap
		if !b.monitored(now, i) {
			p.Latch.pause()
			p.Slack = snapWithin + 1
			continue
		}
		share := l.Pin.Last / b.plan.Lines[i].MBLkN
		p.Slack = min(p.Slack+1, snapWithin+1)
		if p.Slack <= snapWithin {
			b.report(SnapPeak, i, l.Pin.Last, hard*b.plan.Lines[i].MBLkN)
		}
		jerk := share > hard && p.Slack <= snapWithin && !b.suppressed(now, i)
		if share < slack {
			p.Slack = 0
		}
		c := Change{Condition: SnapLoad, Value: l.Pin.Last, Limit: hard * b.plan.Lines[i].MBLkN, HasLimit: true, Unit: "kN"}
		switch p.Latch.step(jerk, !jerk, 1, snapRest) {
		case rose:
			c.By, c.Onset = SnapPeak, now.Time-int64(p.Slack)*tickLength
			c.Detail = fmt.Sprintf("Line %s came taut from slack to %.0f kN (%s of MBL) in %.1f s; keep clear of it and take out the slack when the load is off.",
				b.id(i), l.Pin.Last, b.percent(i, l.Pin.Last), max(0.1, float64(p.Slack)/float64(ticksPerSecond)))
			b.raise(now, i, c)
		case fell:
			l.Fit.Age = 0 // it may have slipped as it snatched: its fit restarts
			c.Detail = fmt.Sprintf("Line %s: no snap load for %d s.", b.id(i), snapRest/ticksPerSecond)
			b.clear(now, i, c)
		}
	}
}

// snatching reports whether lines of the berth come taut with a jerk, or did lately.
func (b *Berth) snatching() bool {
	for i := range b.state.Lines {
		if b.state.Lines[i].Snap.Latch.Up {
			return true
		}
	}
	return false
}
