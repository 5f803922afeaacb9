package detect

import (
	"fmt"
	"math"
)

// Parting detection: a line's load collapses within about a second to nothing though
// the other lines say that it should carry, it was not slack in the minute before,
// its brake is set and its drum has not run out, by a slip or by most of what the load
// stretched the line by.
//
// The ship tells a parting from a load pin that fails to zero: she loses the line's
// pull at once and begins to move, slowly, for she is heavy. So her prediction errors
// since the fall (see predictor), computed as if the line still held, are tested for
// the signature of the lost pull.
//
// The first verdict comes after 2 s, for a deck must be cleared. By then the other
// lines have gained some tenths of a per cent, and where the sea hides that, a parting
// is raised unless the evidence is against it (firstVerdictLLR). A line near slack
// swings to nothing in a swell, or snatches: where its load often changes so much in
// that time, took its time about it, had come up as far in the 3 s before, or eased
// together with others, the evidence must be for a parting (lateVerdictLLR). Not so
// where the other lines vouch for it that the line lost its load by itself and at a
// stroke (see atOneStroke). A line whose load comes up again meanwhile holds.
//
// Such a line, whose drum was read since and stood, is raised within a second or so of its
// fall: as soon as the ship speaks for it (earlyVerdictLLR), or at once where she is too
// heavy to speak within the 2 s (answersLLR).
//
// The test is repeated as the longer horizons pass, 3.5, 5.5, 8 and 12 s after the
// fall, and a parting not raised at first is raised then. One that was raised is
// tested again on more of the record, and retracted where the pin died (see retest).
//
// kN. Source: Newton's second law; the shares of MBL and the thresholds are common
// practice, no source.
const (
	partMinLoad  = 0.04  // of MBL; a line that carried less is not seen to part
	partZeroLoad = 0.025 // of MBL; the most that a pin reads with no load

	firstVerdictTicks = 20  // from the beginning of the fall
	earlyVerdictTicks = 8   // the same, least
	maxTestTicks      = 200 // after which there are no more verdicts
	partClearTicks    = 60 * ticksPerSecond

	earlyVerdictLLR = 1   // log-likelihood ratio from which a parting is raised early
	firstVerdictLLR = -1  // under which it is not raised at first
	answersLLR      = 3   // to expect for the line holding, from which the first verdict is waited for
	lateVerdictLLR  = 5   // over which it is raised late, or no longer tested
	readingsLate    = 0.2 // s; delay of the ship's position, to which that of the pin's readings is added
	minLossShare    = 0.5 // of the load before; least lost pull that is a parting
	maxLossShare    = 1.5 // most; the ship's inertia is no better known

	ownChangeSigma = 3.5 // root mean square changes of load; a fall within them may be the line's usual
	changeWindow   = 120 // seconds over which that mean is taken
	minChangeCount = 20  // seconds from which it is known
	slackOwnLoss   = 0.4 // of the load before; mean loss by the other lines under which the line went slack

	tickHistory = 64
)

// parting is a line's state with respect to parting.
type parting struct {
	Latch          latch
	FirstTest      int64                // tick at which the fall began, until the first verdict
	TestSince      int64                // the same, until the last verdict
	FellAt         int64                // the same, while the record holds it
	BaseStep       int64                // step before the fall from which the predictions are taken
	Verdicts       int                  // so far
	Retests        int32                // so far
	VoteBias       [modes]float64       // how far the line itself moved the fitted position before the fall, m
	LoadBefore     float64              // load before the fall, kN
	PaidOutBefore  float64              // paid out before the fall, m
	RanOutAt       int64                // last tick at which a fall was the drum's doing
	HoldingPull    float64              // line.Pull if the line still held, kN
	ResidualBefore float64              // before the fall, 0 where not known, kN
	OwnLossSum     float64              // of what the line has lost by the other lines since the fall, kN
	OwnLossCount   float64              // of ticks in OwnLossSum
	PartedAt       int64                // tick of the last parting
	RefutedAt      int64                // tick of the last fall that the ship did not answer to
	UnloadedAt     int64                // last tick without load, 0 for never
	ChangeMS       float64              // mean square of the change of load in collapseTicks, kN²
	ChangeCount    float64              // seconds in ChangeMS
	Noise          [2][modes]noiseModel // before the fall, with the ship off her fenders and on them
	Gradual        bool                 // the load fell slowly, with others', or had come up as far just before
	Stroke         bool                 // see atOneStroke
}

// underTest reports whether a fall of the line's load awaits a verdict.
func (p *parting) underTest() bool { return p.FirstTest != 0 || p.TestSince != 0 }

// partings is the tick's step of every line.
func (b *Berth) partings(now moment) {
	for i := range b.state.Lines {
		b.retest(now, i)
		l := &b.state.Lines[i]
		p := &l.Parting
		load, mbl := l.Pin.Last, b.plan.Lines[i].MBLkN
		switch {
		case p.Latch.Up:
			if p.Latch.step(false, l.Pin.fresh(now) && load >= partMinLoad*mbl, 1, partClearTicks) == fell {
				p.TestSince, p.FellAt = 0, 0
				b.clear(now, i, Change{Condition: LineParted, Value: load, Unit: "kN",
					Detail: fmt.Sprintf("Line %s carries %.0f kN again.", b.id(i), load)})
			} else if p.TestSince != 0 {
				b.laterVerdict(now, i)
			}
		case !b.monitored(now, i) || b.tended(now, i):
			p.FirstTest, p.TestSince, p.FellAt = 0, 0, 0
		case !p.underTest():
			if now.Tick-p.RanOutAt > collapseTicks && b.collapsed(now, i) {
				b.beginTest(now, i)
			} else if was := l.loadAgo(now, collapseTicks); load <= partZeroLoad*mbl && !math.IsNaN(was) {
				p.UnloadedAt = now.Tick
			}
			if change := load - l.loadAgo(now, collapseTicks); now.Second && !math.IsNaN(change) {
				p.ChangeCount = min(p.ChangeCount+1, changeWindow)
				p.ChangeMS += (change*change - p.ChangeMS) / p.ChangeCount
			}
		case load > l.leastLoad()+partZeroLoad*mbl, math.Abs(load) > 2*partZeroLoad*mbl: // it carries, or its pin reads what no line does
			p.FirstTest, p.TestSince, p.FellAt = 0, 0, 0
		case b.drumTook(i):
			if now.Tick-p.fallTick() >= drumReadTicks {
				p.FirstTest, p.TestSince, p.FellAt, p.RanOutAt = 0, 0, 0, now.Tick
			}
		case p.FirstTest == 0:
			b.laterVerdict(now, i)
		case stepEnds(now):
			b.firstVerdict(now, i)
		}
		if p.FirstTest != 0 && l.Fit.Known {
			p.OwnLossSum += p.ResidualBefore - l.Fit.Residual
			p.OwnLossCount++
		}
	}
}

// raiseParted raises line-parted for line i.
func (b *Berth) raiseParted(now moment, i int) {
	p := &b.state.Lines[i].Parting
	p.Latch.Up, p.PartedAt = true, now.Tick
	b.state.DisturbedAt, b.state.PartedAt = now.Tick, now.Tick
	b.raise(now, i, Change{Condition: LineParted, By: PartedLLR, Onset: p.fallTick() * tickLength, Value: p.LoadBefore, Unit: "kN",
		Detail: fmt.Sprintf("Line %s parted at %.0f kN (%s of MBL); clear the mooring deck of people and hold the ship with the other lines.",
			b.id(i), p.LoadBefore, b.percent(i, p.LoadBefore))})
}

// fallTick is the tick at which the tested fall began.
func (p *parting) fallTick() int64 { return max(p.FirstTest, p.TestSince) }
