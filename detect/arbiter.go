package detect

import (
	"fmt"
	"slices"
)

// The arbiter: one cause, one alarm. What it suppresses, and why:
//
//	watch stood down        everything new: lines are put out and let go on purpose
//	pin at fault            all conditions of that line but sensor-fault; what it made
//	                        others believe is withdrawn (see withdraw)
//	lines put out, let go   slack, shares, zeros, unseen partings and slips that only loads
//	                        tell; partings of lines of whose brake nothing is known
//	line tended, brake off  all conditions of that line but sensor-fault
//	line parted             all conditions of that line but line-parted; it does not
//	                        count in the mean of its group
//	brake slipped           slack on that line; it does not count in the mean of its
//	                        group, and the drop of its load is no fault of its pin
//	any parting or slip     for two minutes no pin is called shifted: the whole mooring is
//	                        disturbed; after a parting no unseen one is raised for 20 s
//
// What other lines then suffer, over their limit or near it, is raised.
const disturbedTicks = 120 * int64(ticksPerSecond)

// monitored reports whether line i has a load pin in order, with a present load.
func (b *Berth) monitored(now moment, i int) bool {
	l := &b.state.Lines[i]
	return b.plan.Lines[i].Instrumented && !b.state.Watch.Off && l.Health.Fault == healthy && l.Pin.fresh(now)
}

// suppressed reports whether line i's conditions have a known reason: it is tended by
// hand, or parted and raised as such.
func (b *Berth) suppressed(now moment, i int) bool {
	l := &b.state.Lines[i]
	return l.tended(now) || l.Parting.Latch.Up
}

// disturbed reports whether a parting or a slip disturbs the whole mooring.
func (b *Berth) disturbed(now moment) bool {
	return b.state.DisturbedAt != 0 && now.Tick-b.state.DisturbedAt < disturbedTicks
}

// partedWithin reports whether a line has parted, seen or not, within these ticks.
func (b *Berth) partedWithin(now moment, ticks int64) bool {
	return b.state.PartedAt != 0 && now.Tick-b.state.PartedAt < ticks
}

// withdraw clears what line i's pin alone made others believe before its fault was found:
// that the line was loaded too much or too little, or its group unevenly, raised since the
// fault began.
func (b *Berth) withdraw(now moment, i int) {
	h := &b.state.Lines[i].Health
	if h.Fault != zeroShift && h.Fault != deadPin && h.Fault != stuckPin && h.Fault != allStuck {
		return // its readings were right, or none were used
	}
	for _, c := range slices.Clone(b.state.Raised) {
		if c.Time < h.Since || c.Group != b.plan.Lines[i].Group {
			continue
		}
		k := b.plan.Line(c.Line)
		if k < 0 {
			continue
		}
		l := &b.state.Lines[k]
		switch readTooMuch := k == i && l.Zero.Shift > 0; {
		case c.Condition == Imbalance:
			l.Imbalance = latch{}
		case c.Condition == SlackLine:
			l.Slack = latch{}
		case readTooMuch && c.Condition == OverLimit:
			l.Overload = latch{}
		case readTooMuch && c.Condition == ApproachingLimit:
			l.Approach = latch{}
		default:
			continue
		}
		c.Detail = fmt.Sprintf("The load pin of line %s is at fault; what it read does not count.", b.id(i))
		b.clear(now, -1, c)
	}
}

// standDownTicks is how long the watch must be stood down for what was raised to be
// over: a crew that stands it down for a minute to tend a line on bitts does not end
// what else is wrong, and is not told of it twice.
const standDownTicks = 150 * ticksPerSecond

// standDown restarts the fit while lines are put out or let go, and with it what the fit
// tells of zeros and slips; while the watch is stood down all on-delays, and in the end
// it clears all.
func (b *Berth) standDown(now moment) {
	w := &b.state.Watch
	if w.Off || w.Working {
		for i := range b.state.Lines {
			b.state.Lines[i].Fit.Age = 0
		}
	}
	if !w.Off {
		w.OffTicks = 0
		return
	}
	if w.OffTicks = min(w.OffTicks+1, standDownTicks); w.OffTicks < standDownTicks {
		return
	}
	for len(b.state.Raised) > 0 {
		c := b.state.Raised[0]
		c.Detail = "The watch is stood down."
		b.clear(now, -1, c)
	}
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		l.Overload, l.Imbalance, l.Slack, l.Approach, l.Snap.Latch = latch{}, latch{}, latch{}, latch{}, latch{}
		l.Parting, l.Slip.Up, l.Health.Raised = parting{}, false, false
	}
	b.state.DisturbedAt, b.state.PartedAt = 0, 0
	clear(b.state.Unseen[:])
}
