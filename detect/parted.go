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
// line's pull at once and begins to move, slowly, for she is heavy; in 2 s the
// other lines gain some tenths of a per cent. So her motion since the fall is
// held against what she did of herself in the minutes before: of the two tales,
// pull lost and pull not lost, which explains it better, and by how much. Where
// the sea hides the answer, or she still swings from another parting, it is told
// as a parting. kN. Source: Newton's second law; the shares of MBL and the odds
// are common practice, no source.
const (
	partFrom   = 0.04  // of MBL; a line that carried less is not seen to part
	partTo     = 0.025 // of MBL; the most that a pin reads with no load
	partFall   = 13    // ticks in which the load is gone
	partAfter  = 23    // ticks from the beginning of the fall to the verdict
	partAgain  = 60 * perSecond
	partBare   = 60 * int64(perSecond) // a line that was slack within this time snatches
	partDoubt  = -3                    // log of the odds under which the tale of a parting is dropped
	partSwung  = 0.4                   // of the load before, mean word of the others under which it went slack
	recentKept = 64
)

// part is a line's state with respect to parting.
type part struct {
	Latch  latch
	Since  int64   // tick at which the fall began, while the verdict is open
	Before float64 // load before the fall, kN
	Out    float64 // paid out before the fall, m
	At     int64   // tick of the last parting
	Denied int64   // tick of the last fall that the ship did not answer to
	Bare   int64   // last tick without load, 0 for never
	Word   float64 // sum of what the others said it should carry since, kN
	Words  float64 // ticks that they said so
}

func (b *Berth) partings(now moment) {
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		p := &l.Part
		load, mbl := l.Pin.Last, b.plan.Lines[i].MBLkN
		switch {
		case p.Latch.Up:
			if p.Latch.step(false, l.Pin.fresh(now) && load >= partFrom*mbl, 1, partAgain) == fell {
				b.clear(now, i, Change{Condition: LineParted, Value: load, Unit: "kN",
					Detail: fmt.Sprintf("Line %s carries %.0f kN again.", b.id(i), load)})
			}
		case !b.watched(now, i) || l.worked(now):
			p.Since = 0
		case p.Since == 0:
			if b.collapsed(now, i) {
				p.Since, p.Before = l.fallBegan(now)
				p.Word, p.Words = 0, 0
				p.Out = l.Drum.Before
			} else if load <= partTo*mbl {
				p.Bare = now.Tick
			}
		case load > 2*partTo*mbl || l.Drum.Out-p.Out > b.plan.Limits.SlipM:
			p.Since = 0
		case now.Tick-p.Since >= partAfter-6*l.Pin.lag()/10: // at a slow rate it fell some time before
			odds := b.letGo(now, i)
			b.weigh(PartedOdds, i, odds, partDoubt)
			switch {
			case p.swung():
				p.Bare = now.Tick
			case odds < partDoubt:
				p.Denied = now.Tick
			default:
				p.Latch.Up, p.At = true, now.Tick
				b.state.Upset, b.state.Parted = now.Tick, now.Tick
				b.raise(now, i, Change{Condition: LineParted, By: PartedOdds, Onset: p.Since * tickLength, Value: p.Before, Unit: "kN",
					Detail: fmt.Sprintf("Line %s parted at %.0f kN (%s of MBL); clear the mooring deck of people and hold the ship with the other lines.",
						b.id(i), p.Before, b.percent(i, p.Before))})
			}
			p.Since = 0
		}
		if p.Since != 0 && l.Fit.Known {
			p.Word += l.Fit.Expect
			p.Words++
		}
	}
}

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
	return !l.Fit.Known || l.Fit.Expect >= 0.6*before
}

// letGo is the logarithm of the odds that the ship lost the pull of line i at
// the beginning of its fall against that she did not.
func (b *Berth) letGo(now moment, i int) float64 {
	m, p := &b.state.Motion, &b.state.Lines[i].Part
	if m.Ticks < motionKept || m.Drift.Count < 20 || b.upset(now) {
		return 0
	}
	// from the middle of the fall to that of the last half second
	h := (float64(now.Tick-p.Since) + float64(b.state.Lines[i].Pin.lag())/2 - 4) / float64(perSecond)
	k, odds := m.Drift.better(), math.Inf(-1)
	seen := surprise(nearSight(), k, func(n int64) [modes]float64 { return b.without(now, i, n) })
	for _, scale := range [...]float64{0.5, 1, 1.5} { // the masses are no better known
		d := b.release(i, scale*p.Before, h)
		odds = max(odds, m.Drift.odds(k, &d, &seen))
	}
	return odds
}

// without is Q of n ticks ago less the vote of line i.
func (b *Berth) without(now moment, i int, n int64) [modes]float64 {
	q := *b.state.Motion.before(n)
	l := &b.state.Lines[i]
	if off := l.Offs[(now.Tick-n)%recentKept]; !math.IsNaN(off) {
		for k := range modes {
			q[k] -= l.Fit.Sway[k] * off
		}
	}
	return q
}

// masses are what the ship puts against a push in each mode, tonnes: her
// displacement and the water that moves with her. The shares are common
// practice, no source; yaw has a radius of gyration of a quarter of her length.
func (b *Berth) masses() [modes]float64 {
	d := max(b.plan.Ship.DisplacementT, 1)
	return [modes]float64{1.1 * d, 1.8 * d, 1.6 * d}
}
