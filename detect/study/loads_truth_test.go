package study_test

import (
	"math"

	"hawser/detect"
)

// episode follows a condition that comes and goes: sure while it holds against
// every error, maybe while it holds to within 15 per cent. It is over once it
// has not even maybe held for over seconds, and one that comes within anew of it
// is the same or another, as one likes.
type episode struct {
	hold float64 // s; how long sure must go on to be an event

	open        bool
	from, seen  float64 // of maybe
	sure, onset float64 // start of the present run of sure, 0 for none; of the first that held
	held        bool
	last        float64 // seen of the episode before, 0 for none
}

const (
	over = 100.0 // s
	anew = 200.0 // s
)

// another reports whether the episode is plainly another than the one before.
func (e *episode) another() bool { return e.last == 0 || e.from-e.last >= anew }

// step takes a time; done is true as an episode ends, to be read before the next.
func (e *episode) step(at float64, sure, maybe bool) (done bool) {
	if sure {
		if e.sure == 0 {
			e.sure = at
		}
		if at-e.sure >= e.hold && !e.held {
			e.held, e.onset = true, e.sure
		}
	} else {
		e.sure = 0
	}
	if maybe || sure {
		if !e.open {
			e.open, e.from = true, at
		}
		e.seen = at
		return false
	}
	return e.open && at-e.seen > over
}

func (e *episode) reset() { *e = episode{hold: e.hold, last: e.seen} }

// spell runs an episode over a case in steps of dt and hands each that ends, or
// is cut off by the end, to tell.
func (o *oracle) spell(e episode, dt float64, look func(at float64) (sure, maybe bool), tell func(e *episode)) {
	for at := dt; at < o.end; at += dt {
		sure, maybe := look(at)
		if e.step(at, sure, maybe) {
			tell(&e)
			e.reset()
		}
	}
	if e.open {
		tell(&e)
	}
}

func (o *oracle) overLimit(i int) {
	limit := o.c.plan.WorkingLoadKN(i)
	margin := o.errorKN(i, limit)
	o.spell(episode{hold: 3}, 0.1, func(at float64) (sure, maybe bool) {
		load := o.t.mean(i, int(math.Round(at*trackHz)), 1)
		return load >= limit+margin && !o.silent(i, at), load >= nearly*limit && !o.stoodDown(at, at) && !o.handled(i, at)
	}, func(e *episode) {
		from := e.from - 5
		if e.held && e.onset+7 < o.end && e.another() {
			o.due(i, detect.OverLimit, from, e.onset, e.onset+5+2*o.period(), e.seen+minute, false)
		} else {
			o.bearLine(i, detect.OverLimit, from, e.seen+minute)
		}
	})
}

func (o *oracle) approaching(i int) {
	limit := o.c.plan.WorkingLoadKN(i)
	near := o.c.plan.Limits.ApproachFraction * limit
	margin := o.errorKN(i, near)
	o.spell(episode{hold: minute}, 1, func(at float64) (sure, maybe bool) {
		mean := o.t.mean(i, int(at*trackHz), minute)
		return mean >= near+margin && !o.silent(i, at), mean >= nearly*near || o.heading(i, at) >= nearly*limit
	}, func(e *episode) {
		if !e.held || e.onset+2*minute+10 > o.end || !e.another() {
			o.bearLine(i, detect.ApproachingLimit, e.from-90, e.seen+2*minute)
			return
		}
		deadline := e.onset + 2*minute
		if reached := o.ramp(i, e.from); reached > 0 {
			deadline = min(deadline, reached-10*minute)
		}
		if deadline < e.from {
			deadline = e.onset + 2*minute
		}
		o.due(i, detect.ApproachingLimit, e.from-90, e.onset, deadline, e.seen+2*minute, false)
	})
}

// heading is where a line's load would be in 33 minutes were it to go on as over
// the last 20 or 10 minutes.
func (o *oracle) heading(i int, at float64) float64 {
	now := o.t.mean(i, int(at*trackHz), minute)
	far := now
	for _, back := range []float64{10, 20} {
		then := o.t.mean(i, int((at-back*minute)*trackHz), minute)
		if !math.IsNaN(then) {
			far = max(far, now+(now-then)*33/back)
		}
	}
	return far
}

// ramp is when the ten minutes' mean of line i reaches its limit at the end of a
// rise of an hour or more, 0 where it does not.
func (o *oracle) ramp(i int, after float64) float64 {
	limit := o.c.plan.WorkingLoadKN(i)
	for at := 70 * minute; at < o.end; at++ {
		if o.t.mean(i, int(at*trackHz), minute) < limit {
			continue
		}
		begin := o.t.mean(i, int((at-50*minute)*trackHz), 10*minute)
		half := o.t.mean(i, int((at-25*minute)*trackHz), 10*minute)
		if begin < half && half < limit*0.95 && begin < 0.8*limit {
			return at
		}
		return 0
	}
	return 0
}

func (o *oracle) snaps(i int) {
	mbl := o.c.plan.Lines[i].MBLkN
	slack, hard := float64(o.c.plan.Limits.SlackFraction)*mbl, float64(o.c.plan.Limits.SnapFraction)*mbl
	margin := o.errorKN(i, hard)
	period := o.period()
	clear := -forever // last time clearly slack
	bare := -forever  // last time nearly slack
	var first, last, onset float64
	up := 0.0 // since when it is over the threshold
	for k, load := range o.t.loads[i] {
		at := float64(k) / trackHz
		if o.silent(i, at) {
			up = 0
			continue
		}
		if load < 1.3*slack+margin {
			bare = at
		}
		if load < slack-o.errorKN(i, 0)-o.c.story.Sensors.TensionNoiseKN {
			clear = at
		}
		if load >= nearly*hard && at-bare <= 2.6+period {
			if first == 0 {
				first = at
			}
			last = at
		}
		if load < hard+margin+o.c.story.Sensors.TensionNoiseKN {
			up = 0
			continue
		}
		if up == 0 {
			up = at
		}
		// three readings of it, and slack read within the 2 s before the first
		if onset == 0 && period <= 0.25 && at-up >= 2*period && up-clear <= 2-3*period {
			onset = up
		}
	}
	switch {
	case onset > 0:
		o.due(i, detect.SnapLoad, first-1, onset, onset+3+2*period, last+5, true)
	case first > 0:
		o.bearLine(i, detect.SnapLoad, first-1, last+5)
	}
}

// shares looks for line i carrying far more, or hanging slack, in its group.
func (o *oracle) shares(i int) {
	lim := &o.c.plan.Limits
	mbl := o.c.plan.Lines[i].MBLkN
	errorShare := func(share float64) float64 { return o.errorKN(i, share*mbl) / mbl }
	ratio, floor := lim.ImbalanceRatio, float64(lim.ImbalanceFloor)
	o.spell(episode{hold: 150}, 1, func(at float64) (sure, maybe bool) {
		own, least, most, plain, ok := o.groupShares(i, at)
		if !ok {
			return false, false
		}
		e := errorShare(own)
		return plain && own-e >= ratio*(most+e) && own-e >= floor && !o.silent(i, at),
			own+e >= nearly*ratio*(least-e) && own+e >= nearly*floor && !o.unwatched(at)
	}, o.tell(i, detect.Imbalance))
	slack := float64(lim.SlackFraction)
	o.spell(episode{hold: 150}, 1, func(at float64) (sure, maybe bool) {
		own, least, most, plain, ok := o.groupShares(i, at)
		if !ok {
			return false, false
		}
		e := errorShare(0.08)
		_, slipped := o.slipt[i]
		return plain && own+errorShare(own) < slack && least-e >= 0.08 && !o.silent(i, at) && !slipped,
			own-e < slack/nearly && most+e >= nearly*0.08 && !o.unwatched(at)
	}, o.tell(i, detect.SlackLine))
}

// tell makes an event of an episode that is due within 150 s of its onset.
func (o *oracle) tell(i int, c detect.Condition) func(*episode) {
	return func(e *episode) {
		if e.held && e.onset+152 < o.end && e.another() {
			o.due(i, c, e.from-minute-5, e.onset, e.onset+150, e.seen+2*minute, false)
			return
		}
		o.bearLine(i, c, e.from-minute-5, e.seen+2*minute)
	}
}

// groupShares is line i's 60 s mean share and the mean of the rest of its group.
// Lines parted, slipped, worked or with a pin at fault are no measure; where it
// is not plain whether one is, the rest is told with and without, and plain is
// false where that leaves none.
func (o *oracle) groupShares(i int, at float64) (own, least, most float64, plain, ok bool) {
	share := func(k int) float64 {
		return o.t.mean(k, int(at*trackHz), minute) / o.c.plan.Lines[k].MBLkN
	}
	own = share(i)
	var with, without, n, m float64
	for k := range o.c.plan.Lines {
		l := &o.c.plan.Lines[k]
		if k == i || l.Group != o.c.plan.Lines[i].Group || !l.Instrumented {
			continue
		}
		if when, gone := o.parted[k]; gone && at >= when {
			continue
		}
		with += share(k)
		n++
		slipped, did := o.slipt[k]
		if f, bad := o.faulty[k]; bad && at >= f.from && at < f.to+90 || did && at >= slipped || o.handled(k, at) {
			continue
		}
		without += share(k)
		m++
	}
	if n == 0 || math.IsNaN(own) || math.IsNaN(with) {
		return 0, 0, 0, false, false
	}
	a := with / n
	b := a
	if m > 0 {
		b = without / m
	}
	return own, min(a, b), max(a, b), m > 0, true
}
