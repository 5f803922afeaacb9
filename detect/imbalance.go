package detect

import (
	"fmt"
)

// imbalance watches the share of MBL that each line carries of its group's load. It is
// raised when the line's 60 s mean has been the plan's ratio times the mean of the rest
// of its group or more, and at or above the plan's floor, for 60 s. It is cleared when
// it has been under 0.85 of either for 150 s, so that gusts, and a crew that tends one
// line after the other, make one alarm. Lines that carry nothing for a known reason
// (parted, slipped, tended, pin at fault) are not counted in their group. Source: delays
// are common practice, no source.
const ( // delays in seconds
	imbalanceOn   = 60
	imbalanceOff  = 150
	imbalanceBand = 0.85
)

// imbalance is the second's step of every line.
func (b *Berth) imbalance(now moment) {
	lim := &b.plan.Limits
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		own, rest, ok := b.shares(now, i)
		if !ok {
			l.Imbalance.pause()
			continue
		}
		ratio, floor := lim.ImbalanceRatio*rest, float64(lim.ImbalanceFloor)
		b.report(GroupShare, i, 100*own, 100*max(ratio, floor))
		load := own * b.plan.Lines[i].MBLkN
		turn := l.Imbalance.step(own >= ratio && own >= floor && !b.suppressed(now, i),
			own < imbalanceBand*ratio || own < imbalanceBand*floor, imbalanceOn, imbalanceOff)
		c := Change{Condition: Imbalance, Value: 100 * own, Limit: 100 * max(ratio, floor), HasLimit: true, Unit: "%"}
		switch turn {
		case rose:
			c.By, c.Onset = GroupShare, now.Time-int64(imbalanceOn)*second
			c.Detail = fmt.Sprintf("Line %s carries %.0f kN (%.0f %% of MBL) where the rest of the %s lines carry %.0f %% on average; ease it or heave in the others.",
				b.id(i), load, 100*own, b.plan.Lines[i].Group, whole(100*rest))
			b.raise(now, i, c)
		case fell:
			c.Detail = fmt.Sprintf("Line %s carries %.0f kN (%.0f %% of MBL), the rest of the %s lines %.0f %% on average.",
				b.id(i), load, 100*own, b.plan.Lines[i].Group, whole(100*rest))
			b.clear(now, i, c)
		}
	}
}

// shares are line i's 60 s mean as a share of MBL, and the mean of those of the rest of
// its group; ok is false where either is not known, or lines are put out or let go.
func (b *Berth) shares(now moment, i int) (own, rest float64, ok bool) {
	if !b.monitored(now, i) || b.state.Watch.Working {
		return 0, 0, false
	}
	own, ok = b.share(i)
	if !ok {
		return 0, 0, false
	}
	n := 0.0
	for k := range b.state.Lines {
		if k == i || b.plan.Lines[k].Group != b.plan.Lines[i].Group || !b.comparable(now, k) {
			continue
		}
		if s, ok := b.share(k); ok {
			rest += s
			n++
		}
	}
	return own, rest / max(n, 1), n > 0
}

// share is line i's 60 s mean as a share of MBL.
func (b *Berth) share(i int) (share float64, ok bool) {
	l := &b.state.Lines[i]
	return l.MinuteMean / b.plan.Lines[i].MBLkN, l.MinuteMeanOK
}

// comparable reports whether line k counts in the mean of its group.
func (b *Berth) comparable(now moment, k int) bool {
	l := &b.state.Lines[k]
	return b.monitored(now, k) && !b.suppressed(now, k) && !l.Slip.Up
}
