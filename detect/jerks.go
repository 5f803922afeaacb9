package detect

import (
	"fmt"
	"math"
)

// jerks detects slip without a pay-out sensor and without the other lines. What holds
// the line gives at a load, catches at a lower one and gives again when the line has come
// up to the first: the load falls at a stroke, rises, and falls at a stroke from the same
// level, which is the most that the line carries. It is raised at the second such fall
// within a minute.
//
//	────┐  ╱┐        Fall: over 5 times the usual one, 0.02 of MBL or more
//	    │╱  │╱       From: 0.45 of MBL or more, the most within a minute, the same twice
//
// A wave brings a load down too, but all the time, and it is falling before and after. A
// pin whose zero jumps does not come back to jump from the same load, and one that reads
// a spike rises as steeply as it falls. Where many lines give at once, which the fit takes
// for a ship that lies still, this is what tells it. A pin that reads once a second does
// not show whether a fall was at a stroke: there the other lines must say that the ship took
// less than half of it off.
//
// Source: the mechanics of stick and slip; the figures are common practice, no source.
const (
	jerkLeast    = 0.02  // of MBL; least fall
	jerkUsual    = 5     // times the root mean square of the falls
	jerkFrom     = 0.45  // of MBL; least load from which it falls: brakes are set to render at 0.6
	jerkSame     = 0.03  // of the load; by as much may the two differ, and from the most
	jerkWithin   = 60    // s
	jerkOnce     = 2     // s; closer together two falls are one
	jerkRest     = 0.05  // of the fall; by as much may the load fall before and after
	jerkRise     = 0.6   // of the fall; by as much may it have risen before
	jerkSpacing  = 0.4   // s; least time between the loads that are compared
	jerkQuick    = 0.8   // s between readings; of pins as quick as that a fall may take two spacings
	jerkSlowest  = 1.5   // s between readings; slower pins show no stroke
	jerkCalm     = 0.005 // of MBL; usual fall over which pins that are not quick cannot tell a stroke from a short sea
	jerkOwn      = 0.5   // of the fall; least of it that the ship did not take off, by pins that are not quick
	jerkMemory   = 1200  // loads, of the mean square
	jerkPriorSD  = 0.004 // of MBL; root mean square at first
	jerkCompared = 6     // loads
)

// jerkRecord is what a line's load did lately.
type jerkRecord struct {
	Loads      [jerkCompared]float64 // newest first, kN
	At         int64                 // time of the newest, Unix nanoseconds
	Count      int32                 // of loads, no more than are compared
	MeanSquare float64               // of the falls, kN²; 0 for none
	Tops       [jerkWithin]float64   // greatest load in each of the last seconds, kN
	From       float64               // load from which it fell last, kN
	FellAt     int64                 // when, Unix nanoseconds; 0 for never
}

// reset forgets all but the usual fall.
func (s *jerkRecord) reset() { *s = jerkRecord{MeanSquare: s.MeanSquare} }

// jerks is the tick's step of every line.
func (b *Berth) jerks(now moment) {
	for i := range b.state.Lines {
		s, p := &b.state.Lines[i].Jerks, &b.state.Lines[i].Pin
		if !b.monitored(now, i) || b.suppressed(now, i) || b.state.Watch.Working || b.hasPayout(now, i) || p.Interval > jerkSlowest {
			if s.Count > 0 {
				s.reset()
			}
			continue
		}
		top := &s.Tops[now.Time/second%jerkWithin]
		if now.Second { // another begins
			*top = 0
		}
		*top = max(*top, p.Last)
		if float64(p.LastAt-s.At) < jerkSpacing*float64(second) {
			continue
		}
		copy(s.Loads[1:], s.Loads[:])
		s.Loads[0], s.At = p.Last, p.LastAt
		if s.Count = min(s.Count+1, jerkCompared); s.Count == jerkCompared {
			b.jerk(now, i)
		}
	}
}

// jerk looks whether line i has just given for the second time.
func (b *Berth) jerk(now moment, i int) {
	l, mbl := &b.state.Lines[i], b.plan.Lines[i].MBLkN
	s := &l.Jerks
	quick := l.Pin.Interval <= jerkQuick
	fall, threshold, ok := s.fall(mbl, quick)
	b.report(Jerk, i, fall, threshold)
	if !ok || now.Time-s.FellAt < jerkOnce*second || !quick && l.residualFall(now) < jerkOwn*fall {
		return
	}
	from, at := s.From, s.FellAt
	s.From, s.FellAt = s.most(), now.Time
	if now.Time-at > jerkWithin*second || math.Abs(s.From-from) > jerkSame*from {
		return
	}
	// The line is longer now: its fit restarts.
	l.Fit.Age, l.Slip.Quiet, b.state.DisturbedAt = 0, 0, now.Tick
	if b.newSlip(now, i) {
		b.raise(now, i, Change{Condition: BrakeSlip, By: Jerk, Onset: at, Value: fall, Limit: threshold, HasLimit: true, Unit: "kN",
			Detail: fmt.Sprintf("Line %s gave twice within %.0f s as it came up to %.0f kN (%s of MBL), the last time by %.0f kN at a stroke; keep clear of the mooring deck and check how it is made fast.",
				b.id(i), float64(now.Time-at)/float64(second), s.From, b.percent(i, s.From), fall)})
	}
}

// fall is by how much the load has just fallen and what it is held against, kN; ok is
// false where it has not fallen at a stroke.
func (s *jerkRecord) fall(mbl float64, quick bool) (fall, threshold float64, ok bool) {
	from, to := 2, 1
	if quick {
		from = 3
	}
	v := &s.Loads
	fall = v[from] - v[to]
	if s.MeanSquare == 0 {
		s.MeanSquare = jerkPriorSD * mbl * jerkPriorSD * mbl
	}
	usual := math.Sqrt(s.MeanSquare)
	threshold = max(jerkLeast*mbl, jerkUsual*usual)
	counted := max(0, min(fall, 3*usual))
	s.MeanSquare += (counted*counted - s.MeanSquare) / jerkMemory
	earlier, before, after := v[from+1]-v[from+2], v[from]-v[from+1], v[0]-v[to] // rises
	return fall, threshold, (quick || usual <= jerkCalm*mbl) && fall >= threshold &&
		v[from] >= jerkFrom*mbl && v[from] >= (1-jerkSame)*s.most() &&
		min(earlier, before, after) >= -jerkRest*fall && max(earlier, before) <= jerkRise*fall
}

// residualFall is how far the load has fallen in three readings beyond what the other lines
// say that the ship took off it, kN; 0 where they do not say.
func (l *line) residualFall(now moment) (fall float64) {
	if !l.Fit.Known {
		return 0
	}
	for k := range min(3*l.Pin.intervalTicks(), tickHistory) {
		if v := l.Residuals[(now.Tick-k)%tickHistory]; v-l.Fit.Residual > fall {
			fall = v - l.Fit.Residual
		}
	}
	return fall
}

// most is the greatest load of the last minute, kN.
func (s *jerkRecord) most() (v float64) {
	for _, top := range s.Tops {
		v = max(v, top)
	}
	return v
}
