package detect

import (
	"fmt"
	"math"

	"hawser/detect/mooring"
)

// redistribution watches for a parting that nobody sees: a line without a load
// pin, or with its pin at fault, lets go, and all there is to it is how the
// ship moves. The loss of one line's pull has a mark of its own: she goes off
// and swings about a point that depends on where the line led. So the ship's
// move over the last 5 s, less what her going told before, is held against the
// move that each unseen line would have let her make:
//
//	likely    the odds of that move against her usual straying are high; where
//	          she has gone wilder than usual for a while they count for less
//	alike     what the lines feel of it has that line's pattern, and little of
//	          the surprise, by what is usual, lies another way
//	of size   it stands for between a quarter of, and twice, the line's load
//	felt      two lines or more are off by 0.006 of MBL, or by 0.0006 where the
//	          first two are beyond doubt: a heavy ship on soft lines in a calm
//	no gust   the wind's push across her has not changed by so much
//
// Surge is left out: ahead and astern a ship is held by the fenders' grip too.
// Told for the group of the unseen line, and cleared after 10 min. Source:
// Newton's second law; the figures are common practice, no source.
const (
	unseenOdds   = 7.0
	unseenBoth   = 2.0 // how much higher for a line whose pin is at fault
	unseenAlike  = 0.9
	unseenWay    = 0.95
	unseenLeast  = 0.25
	unseenMost   = 2.0
	unseenFelt   = 0.006
	unseenGust   = 0.7 // share of a gust's full push that may hide a parting
	unseenHold   = 2   // looks in a row, half a second apart
	unseenTaught = 360 // lessons of her usual straying, three minutes
	unseenRest   = 600 * int64(perSecond)
)

// unseen is the state of one group.
type unseen struct {
	Looks int32
	Up    int64 // tick at which it was told, 0 for not
}

func (b *Berth) redistribution(now moment) {
	m := &b.state.Motion
	if now.Tick%driftEvery != 0 {
		return
	}
	for g := range b.state.Unseen {
		u := &b.state.Unseen[g]
		if u.Up != 0 && now.Tick-u.Up >= unseenRest {
			u.Up = 0
			b.clear(now, -1, Change{Condition: Redistribution, Group: mooring.Group(g), Unit: "%",
				Detail: fmt.Sprintf("No further jump of the lines about the %s lines was seen.", mooring.Group(g))})
		}
	}
	if m.Ticks < motionKept || b.upset(now) || b.state.Watch.Off {
		return
	}
	k := m.Far.better()
	seen := m.strayed(farSight(), min(k, 1))
	if k == foreseen {
		x := m.Far.Fore.looks(farSight(), &b.state.Wind, func(n int64) [modes]float64 { return *m.before(n) })
		seen = m.strayed(farSight(), 0)
		for q, v := range m.Far.Fore.ahead(&x) {
			seen[q] -= v
		}
	}
	if m.Far.Count >= unseenTaught {
		b.suspect(now, k, &seen)
	}
}

// suspect holds a surprise against every unseen line.
func (b *Berth) suspect(now moment, k int, seen *[modes]float64) {
	var tried [mooring.Stern + 1]bool
	for i := range b.plan.Lines {
		g := b.plan.Lines[i].Group
		u := &b.state.Unseen[g]
		if tried[g] || u.Up != 0 || !b.hidden(i) {
			continue
		}
		load, ok := b.groupLoad(now, i)
		if !ok {
			continue
		}
		tried[g] = true
		step := b.release(i, load, farTime)
		odds, size := b.state.Motion.Far.lateral(k, &step, seen)
		way := 2 * odds / max(b.state.Motion.Far.lateralSize(k, seen), finest)
		if k == foreseen {
			odds /= b.state.Motion.Far.Fore.rough()
		}
		if b.plan.Lines[i].Instrumented { // two things wrong at once are less likely
			odds /= unseenBoth
		}
		b.weighGroup(UnseenOdds, g, odds, unseenOdds)
		alike, felt, worst := b.pattern(&step, seen, unseenFelt)
		if odds >= 5*unseenOdds && alike >= 0.99 {
			_, felt, _ = b.pattern(&step, seen, unseenFelt/10)
		}
		gust := unseenGust * math.Abs(b.state.Wind.gust(now)) * b.plan.Ship.SideWindageM2 / 1000 // kN
		if odds < unseenOdds || size < unseenLeast || size > unseenMost || alike < unseenAlike || way < unseenWay || felt < 2 || gust > size*load {
			u.Looks = 0
			continue
		}
		if u.Looks++; u.Looks < unseenHold {
			continue
		}
		u.Looks, u.Up = 0, now.Tick
		b.state.Upset, b.state.Parted = now.Tick, now.Tick
		b.raise(now, -1, Change{Condition: Redistribution, By: UnseenOdds, Group: g, Onset: now.Time - 5*second, Value: 100 * worst, Unit: "%",
			Detail: fmt.Sprintf("The ship moved as if one of the %s lines had let go, with up to %.1f %% of MBL more on other lines in 5 s, and no line with a load pin did; keep clear of the mooring deck and find out whether line %s and its bollard hold.",
				g, 100*worst, b.id(i))})
	}
}

// hidden reports whether nobody would see line i part.
func (b *Berth) hidden(i int) bool {
	return b.levers[i].Pull != [modes]float64{} &&
		(!b.plan.Lines[i].Instrumented || b.state.Lines[i].Health.Fault != well) && !b.state.Lines[i].Part.Latch.Up
}

// groupLoad is what an unseen line likely carries: its share is that of the
// rest of its group.
func (b *Berth) groupLoad(now moment, i int) (load float64, ok bool) {
	n := 0.0
	for k := range b.state.Lines {
		if k != i && b.plan.Lines[k].Group == b.plan.Lines[i].Group && b.measure(now, k) && b.state.Lines[k].MinuteOK {
			share, _ := b.share(k)
			load += share * b.plan.Lines[i].MBLkN
			n++
		}
	}
	return load / max(n, 1), n > 0 && load > 0
}

// release is where the ship goes in t seconds when load kN of line i is gone.
func (b *Berth) release(i int, load, t float64) (d [modes]float64) {
	mass := b.masses()
	for q := range modes {
		d[q] = -0.5 * t * t * load * b.levers[i].Pull[q] / mass[q]
	}
	return d
}

// pattern compares what the lines feel of two moves, both without surge: the
// cosine between them, how many lines feel the second by least of MBL, and the
// most that one gains.
func (b *Berth) pattern(step, seen *[modes]float64, least float64) (alike float64, felt int, worst float64) {
	var ss, se, ee float64
	for i := range b.state.Lines {
		if b.state.Lines[i].Fit.Weight == 0 {
			continue
		}
		g, mbl := b.answers(i), b.plan.Lines[i].MBLkN/b.state.Lines[i].Fit.Stiff // m
		s := (g[1]*step[1] + g[2]*step[2]) / mbl
		e := (g[1]*seen[1] + g[2]*seen[2]) / mbl
		ss, se, ee = ss+s*s, se+s*e, ee+e*e
		if math.Abs(e) >= least {
			felt++
		}
		worst = max(worst, e)
	}
	if ss == 0 || ee == 0 {
		return 0, 0, 0
	}
	return se / math.Sqrt(ss*ee), felt, worst
}
