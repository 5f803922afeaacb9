package detect

import (
	"fmt"
	"math"
)

// parted watches for a line that lets go: its load collapses within 1 s to
// nothing though the other lines say it should carry, it was not slack in the
// minute before, the brake is set and the drum has not run out.
//
// What tells a parting from a pin that fails to zero is the ship: she loses the
// line's pull at once and begins to move, slowly, for she is heavy. So her
// surprises since the fall (see foresight), told as if the line still held, are
// held against both tales, pull lost and pull not lost. The first verdict comes
// after 2 s, for a deck must be cleared; by then the other lines have gained
// some tenths of a per cent, and where the sea hides that it is told as a parting
// unless the ship speaks against it. A line near slack swings to nothing in a
// swell, or snatches: where its load often goes so far in that time, took its time
// about it, or had come up as far in the 3 s before, the ship must speak for a
// parting. It is judged again as more of her way is seen, 3.5, 5.5, 8 and 12 s
// after the fall, and told late where it was not told; what was told is tried on
// more of the record, and taken back where it was the pin that died (see retrial).
// kN.
//
// Source: Newton's second law; the shares of MBL and the odds are common
// practice, no source.
const (
	partFrom   = 0.04  // of MBL; a line that carried less is not seen to part
	partTo     = 0.025 // of MBL; the most that a pin reads with no load
	partFall   = 13    // ticks in which the load is gone
	partAfter  = 20    // ticks from the beginning of the fall to the first verdict
	partTrial  = 200   // ticks after which nothing more is judged
	partAgain  = 60 * perSecond
	partBare   = 60 * int64(perSecond) // a line that was slack within this time snatches
	partDoubt  = -1                    // log of the odds under which it is not told at first
	partSure   = 5                     // over which it is told late, or no longer doubted
	partLeast  = 0.5                   // of the load before, least pull lost that is told as a parting
	partMost   = 1.5                   // most; the masses are no better known
	partSwings = 3.5                   // root mean squares of what the load goes in partFall, that it may go of itself
	partUsual  = 120                   // seconds over which that mean is taken
	partUp     = 43                    // ticks ago, until the fall: a load that came up since has snatched
	partQuick  = 5                     // ticks from 0.8 to 0.3 of the load, most of a line that lets go
	partStroke = 3                     // the same, of a line that lets go and is well seen
	partNew    = 20                    // seconds from which it is known how a load goes
	partSwung  = 0.4                   // of the load before, mean word of the others under which it went slack
	recentKept = 64
)

// part is a line's state with respect to parting.
type part struct {
	Latch  latch
	Since  int64           // tick at which the fall began, until the first verdict
	Trial  int64           // the same, until the last
	Base   int64           // look from which the ship's surprises are taken
	Judged int             // verdicts so far
	Led    [modes]float64  // how far the line's own vote had the ship's place, m
	Before float64         // load before the fall, kN
	Out    float64         // paid out before the fall, m
	At     int64           // tick of the last parting
	Denied int64           // tick of the last fall that the ship did not answer to
	Bare   int64           // last tick without load, 0 for never
	Word   float64         // sum of what the others said it should carry since, kN
	Words  float64         // ticks that they said so
	Swing  float64         // mean square of what the load goes in partFall, kN²
	Swings float64         // seconds that it is of
	Fell   int64           // tick at which the fall began, while the record holds it
	Heard  int32           // retrials so far
	Held   float64         // what the line would pull against some time ago, did it hold, kN
	Noise  [2][modes]blend // of the ship's way before the fall, off her fenders and on them
	Swung  bool            // the load fell slowly, or had come up as far just before
}

// tried reports whether a fall of the line's load is being judged.
func (p *part) tried() bool { return p.Since != 0 || p.Trial != 0 }

func (b *Berth) partings(now moment) {
	for i := range b.state.Lines {
		b.retry(now, i)
		l := &b.state.Lines[i]
		p := &l.Part
		load, mbl := l.Pin.Last, b.plan.Lines[i].MBLkN
		switch {
		case p.Latch.Up:
			if p.Latch.step(false, l.Pin.fresh(now) && load >= partFrom*mbl, 1, partAgain) == fell {
				p.Trial, p.Fell = 0, 0
				b.clear(now, i, Change{Condition: LineParted, Value: load, Unit: "kN",
					Detail: fmt.Sprintf("Line %s carries %.0f kN again.", b.id(i), load)})
			} else if p.Trial != 0 {
				b.judgeAgain(now, i)
			}
		case !b.watched(now, i) || l.worked(now):
			p.Since, p.Trial, p.Fell = 0, 0, 0
		case !p.tried():
			if b.collapsed(now, i) {
				b.try(now, i)
			} else if load <= partTo*mbl {
				p.Bare = now.Tick
			}
			if went := load - l.recent(now, partFall); now.Second && !math.IsNaN(went) {
				p.Swings = min(p.Swings+1, partUsual)
				p.Swing += (went*went - p.Swing) / p.Swings
			}
		case load > 2*partTo*mbl || l.Drum.Out-p.Out > b.plan.Limits.SlipM:
			p.Since, p.Trial, p.Fell = 0, 0, 0
		case p.Since == 0:
			b.judgeAgain(now, i)
		case looked(now) && now.Tick-p.Since >= partAfter-6*l.Pin.lag()/10: // at a slow rate it fell some time before
			b.judge(now, i)
		}
		if p.Since != 0 && l.Fit.Known {
			p.Word += l.Fit.Expect
			p.Words++
		}
	}
}

// try begins to judge a fall: from here on the line counts as if it still held.
func (b *Berth) try(now moment, i int) {
	l := &b.state.Lines[i]
	p := &l.Part
	p.Since, p.Before = l.fallBegan(now)
	p.Trial, p.Judged = p.Since, 0
	p.Fell, p.Heard, p.Noise = p.Since, 0, [2][modes]blend{}
	p.Swung = l.falling(now, p.Before) > partQuick+l.Pin.lag() || l.least(now, partUp) < 0.3*p.Before
	p.Word, p.Words, p.Out = 0, 0, l.Drum.Before
	p.Led = [modes]float64{}
	var off, n float64
	for k := now.Tick - p.Since + 1; k < recentKept && n < lookEvery; k++ {
		if v := l.Offs[(now.Tick-k)%recentKept]; !math.IsNaN(v) {
			off, n = off+v, n+1
		}
	}
	if n > 0 {
		for k := range modes {
			p.Led[k] = l.Fit.Sway[k] * off / n
		}
	}
	f, mass := &b.state.Motion.Fore, b.masses()
	newest := now.Tick - (now.Tick+1)%lookEvery
	for n := int64(0); n < f.Looks && newest-n*lookEvery >= p.Since; n++ {
		load := 0.0
		for k := range int64(lookEvery) {
			load += l.recent(now, now.Tick-newest+n*lookEvery+k) / lookEvery
		}
		if math.IsNaN(load) {
			continue
		}
		var push [modes]float64
		for k := range modes {
			push[k] = (p.Before - load) * b.levers[i].Pull[k] / mass[k]
			f.Past[(f.Looks-1-n)%looksKept].Push[ofLines][k] += push[k]
		}
		b.state.Motion.Record.amend(now, newest-n*lookEvery, &push)
	}
	if !math.IsNaN(l.Told) {
		l.Pull += p.Before - l.Told
		l.Told = bad
	}
	p.Held = l.Pull
}

// judge gives the first verdict.
func (b *Berth) judge(now moment, i int) {
	p := &b.state.Lines[i].Part
	f := &b.state.Motion.Fore
	p.Base = f.Looks - 1 - max((now.Tick-p.Since+lookEvery-1)/lookEvery, sights[0])
	odds := b.letGo(now, i, 1)
	p.Judged = 1
	least := float64(partDoubt)
	if p.Swung || p.Before < partSwings*math.Sqrt(p.Swing) || p.Swings < partNew && !b.state.Lines[i].Fit.Known {
		least = partSure
	}
	b.weigh(PartedOdds, i, odds, least)
	switch {
	case p.swung():
		p.Bare, p.Trial, p.Fell = now.Tick, 0, 0
	case odds < least:
		p.Denied = now.Tick
	default:
		b.toldParted(now, i)
	}
	p.Since = 0
}

// judgeAgain gives a later verdict when the next sight has seen enough.
func (b *Berth) judgeAgain(now moment, i int) {
	p := &b.state.Lines[i].Part
	if now.Tick-p.Trial > partTrial { // her place was lost meanwhile
		p.Trial = 0
	}
	if p.Trial == 0 || !looked(now) || b.state.Motion.Fore.Looks-1 < p.Base+sights[p.Judged] {
		return
	}
	odds := b.letGo(now, i, p.Judged+1)
	if p.Judged++; p.Judged == sightCount {
		p.Trial = 0
	}
	switch {
	case odds > partSure && p.Latch.Up:
		p.Trial = 0
	case odds > partSure:
		p.Denied = 0
		b.toldParted(now, i)
		p.Trial = 0
	}
}

func (b *Berth) toldParted(now moment, i int) {
	p := &b.state.Lines[i].Part
	p.Latch.Up, p.At = true, now.Tick
	b.state.Upset, b.state.Parted = now.Tick, now.Tick
	b.raise(now, i, Change{Condition: LineParted, By: PartedOdds, Onset: p.began() * tickLength, Value: p.Before, Unit: "kN",
		Detail: fmt.Sprintf("Line %s parted at %.0f kN (%s of MBL); clear the mooring deck of people and hold the ship with the other lines.",
			b.id(i), p.Before, b.percent(i, p.Before))})
}

// began is the tick at which the fall that is judged began.
func (p *part) began() int64 { return max(p.Since, p.Trial) }

// swung reports whether the others said, after the fall, that the line should
// carry next to nothing: she swung and it went slack.
func (p *part) swung() bool { return p.Words > 0 && p.Word < partSwung*p.Before*p.Words }

// collapsed reports whether line i lost its load within partFall ticks while
// the others say it should carry.
func (b *Berth) collapsed(now moment, i int) bool {
	l := &b.state.Lines[i]
	mbl := b.plan.Lines[i].MBLkN
	before := l.recent(now, partFall)
	if !(before >= partFrom*mbl) || math.Abs(l.Pin.Last) > partTo*mbl || l.Pin.Last > 0.3*before {
		return false
	}
	if l.Part.Bare != 0 && now.Tick-l.Part.Bare < partBare {
		return false
	}
	return (!l.Fit.Known || l.Fit.Expect >= 0.6*before) && !b.easedAlike(now, i)
}

// easedAlike reports whether another line of line i's group lost half of its load
// in the same time, and not at a stroke: the ship came in, for a line that lets go
// leaves its load to such a line.
func (b *Berth) easedAlike(now moment, i int) bool {
	for k := range b.state.Lines {
		l := &b.state.Lines[k]
		if k == i || b.plan.Lines[k].Group != b.plan.Lines[i].Group || !b.watched(now, k) {
			continue
		}
		before := l.recent(now, partFall)
		if before >= partFrom*b.plan.Lines[k].MBLkN && l.Pin.Last <= before/2 && l.falling(now, before) > partStroke+l.Pin.lag() {
			return true
		}
	}
	return false
}

// letGo is the logarithm of the odds that the ship lost the pull of line i at
// the beginning of its fall against that she did not, by the first count sights;
// 0 where it is not known how she usually strays.
func (b *Berth) letGo(now moment, i, count int) float64 {
	f, l := &b.state.Motion.Fore, &b.state.Lines[i]
	p := &l.Part
	if p.Base <= settleFor+furthest || f.Lessons < 2*joint {
		return 0
	}
	seen := f.from(p.Base)
	for k := range seen {
		seen[k] += p.Led[k%modes]
	}
	based := now.Tick - (f.Looks-1-p.Base)*lookEvery
	late := float64(p.Trial-based)/float64(perSecond) + 0.2 + 1.5*l.Pin.Gap
	t := b.lost(i, p.Before, late)
	b.usual.white(&seen)
	return f.odds(&seen, &t, count, partLeast, partMost)
}

// masses are what the ship puts against a push in each mode, tonnes: her
// displacement and the water that moves with her. The shares are common
// practice, no source; yaw has a radius of gyration of a quarter of her length.
func (b *Berth) masses() [modes]float64 {
	d := max(b.plan.Ship.DisplacementT, 1)
	return [modes]float64{1.1 * d, 1.8 * d, 1.6 * d}
}
