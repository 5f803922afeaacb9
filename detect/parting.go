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
	partMinLoad        = 0.04  // of MBL; a line that carried less is not seen to part
	partZeroLoad       = 0.025 // of MBL; the most that a pin reads with no load
	collapseTicks      = 13    // ticks in which the load is gone
	firstVerdictTicks  = 20    // ticks from the beginning of the fall to the first verdict
	maxTestTicks       = 200   // ticks after which nothing more is judged
	partClearTicks     = 60 * ticksPerSecond
	recentSlackTicks   = 60 * int64(ticksPerSecond) // a line that was slack within this time snatches
	firstVerdictLLR    = -1                         // log of the odds under which it is not told at first
	lateVerdictLLR     = 5                          // over which it is told late, or no longer doubted
	minLossShare       = 0.5                        // of the load before, least pull lost that is told as a parting
	maxLossShare       = 1.5                        // most; the masses are no better known
	ownChangeSigma     = 3.5                        // root mean squares of what the load goes in partFall, that it may go of itself
	changeWindow       = 120                        // seconds over which that mean is taken
	snatchTicks        = 43                         // ticks ago, until the fall: a load that came up since has snatched
	maxFallTicks       = 5                          // ticks from 0.8 to 0.3 of the load, most of a line that lets go
	strokeFallTicks    = 3                          // the same, of a line that lets go and is well seen
	minChangeCount     = 20                         // seconds from which it is known how a load goes
	slackExpectedShare = 0.4                        // of the load before, mean word of the others under which it went slack
	tickHistory        = 64
)

// part is a line's state with respect to parting.
type parting struct {
	Latch         latch
	FirstTest     int64                // tick at which the fall began, until the first verdict
	TestSince     int64                // the same, until the last
	BaseStep      int64                // look from which the ship's surprises are taken
	Verdicts      int                  // verdicts so far
	VoteBias      [modes]float64       // how far the line's own vote had the ship's place, m
	LoadBefore    float64              // load before the fall, kN
	PaidOutBefore float64              // paid out before the fall, m
	PartedAt      int64                // tick of the last parting
	RefutedAt     int64                // tick of the last fall that the ship did not answer to
	UnloadedAt    int64                // last tick without load, 0 for never
	ExpectedSum   float64              // sum of what the others said it should carry since, kN
	ExpectedCount float64              // ticks that they said so
	ChangeMS      float64              // mean square of what the load goes in partFall, kN²
	ChangeCount   float64              // seconds that it is of
	FellAt        int64                // tick at which the fall began, while the record holds it
	Retests       int32                // retrials so far
	HoldingPull   float64              // what the line would pull against some time ago, did it hold, kN
	Noise         [2][modes]noiseModel // of the ship's way before the fall, off her fenders and on them
	Gradual       bool                 // the load fell slowly, or had come up as far just before
}

// tried reports whether a fall of the line's load is being judged.
func (p *parting) underTest() bool { return p.FirstTest != 0 || p.TestSince != 0 }

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
		case !b.monitored(now, i) || l.tended(now):
			p.FirstTest, p.TestSince, p.FellAt = 0, 0, 0
		case !p.underTest():
			if b.collapsed(now, i) {
				b.beginTest(now, i)
			} else if load <= partZeroLoad*mbl {
				p.UnloadedAt = now.Tick
			}
			if went := load - l.loadAgo(now, collapseTicks); now.Second && !math.IsNaN(went) {
				p.ChangeCount = min(p.ChangeCount+1, changeWindow)
				p.ChangeMS += (went*went - p.ChangeMS) / p.ChangeCount
			}
		case load > 2*partZeroLoad*mbl || l.Drum.PaidOut-p.PaidOutBefore > b.plan.Limits.SlipM:
			p.FirstTest, p.TestSince, p.FellAt = 0, 0, 0
		case p.FirstTest == 0:
			b.laterVerdict(now, i)
		case stepEnds(now) && now.Tick-p.FirstTest >= firstVerdictTicks-6*l.Pin.intervalTicks()/10: // at a slow rate it fell some time before
			b.firstVerdict(now, i)
		}
		if p.FirstTest != 0 && l.Fit.Known {
			p.ExpectedSum += l.Fit.Expected
			p.ExpectedCount++
		}
	}
}

// try begins to judge a fall: from here on the line counts as if it still held.
func (b *Berth) beginTest(now moment, i int) {
	l := &b.state.Lines[i]
	p := &l.Parting
	p.FirstTest, p.LoadBefore = l.fallStart(now)
	p.TestSince, p.Verdicts = p.FirstTest, 0
	p.FellAt, p.Retests, p.Noise = p.FirstTest, 0, [2][modes]noiseModel{}
	p.Gradual = l.fallTicks(now, p.LoadBefore) > maxFallTicks+l.Pin.intervalTicks() || l.minLoad(now, snatchTicks) < 0.3*p.LoadBefore
	p.ExpectedSum, p.ExpectedCount, p.PaidOutBefore = 0, 0, l.Drum.PaidOutBefore
	p.VoteBias = [modes]float64{}
	var off, n float64
	for k := now.Tick - p.FirstTest + 1; k < tickHistory && n < stepTicks; k++ {
		if v := l.Residuals[(now.Tick-k)%tickHistory]; !math.IsNaN(v) {
			off, n = off+v, n+1
		}
	}
	if n > 0 {
		for k := range modes {
			p.VoteBias[k] = l.Fit.Influence[k] * off / n
		}
	}
	f, mass := &b.state.Motion.Predictor, b.masses()
	newest := now.Tick - (now.Tick+1)%stepTicks
	for n := int64(0); n < f.Steps && newest-n*stepTicks >= p.FirstTest; n++ {
		load := 0.0
		for k := range int64(stepTicks) {
			load += l.loadAgo(now, now.Tick-newest+n*stepTicks+k) / stepTicks
		}
		if math.IsNaN(load) {
			continue
		}
		var push [modes]float64
		for k := range modes {
			push[k] = (p.LoadBefore - load) * b.models[i].Pull[k] / mass[k]
			f.History[(f.Steps-1-n)%historySteps].Forcing[forceLines][k] += push[k]
		}
		b.state.Motion.Record.amend(now, newest-n*stepTicks, &push)
	}
	if !math.IsNaN(l.StepLoad) {
		l.Pull += p.LoadBefore - l.StepLoad
		l.StepLoad = missing
	}
	p.HoldingPull = l.Pull
}

// judge gives the first verdict.
func (b *Berth) firstVerdict(now moment, i int) {
	p := &b.state.Lines[i].Parting
	f := &b.state.Motion.Predictor
	p.BaseStep = f.Steps - 1 - max((now.Tick-p.FirstTest+stepTicks-1)/stepTicks, horizons[0])
	odds := b.partedLLR(now, i, 1)
	p.Verdicts = 1
	least := float64(firstVerdictLLR)
	if p.Gradual || p.LoadBefore < ownChangeSigma*math.Sqrt(p.ChangeMS) || p.ChangeCount < minChangeCount && !b.state.Lines[i].Fit.Known {
		least = lateVerdictLLR
	}
	b.report(PartedLLR, i, odds, least)
	switch {
	case p.wentSlack():
		p.UnloadedAt, p.TestSince, p.FellAt = now.Tick, 0, 0
	case odds < least:
		p.RefutedAt = now.Tick
	default:
		b.raiseParted(now, i)
	}
	p.FirstTest = 0
}

// judgeAgain gives a later verdict when the next sight has seen enough.
func (b *Berth) laterVerdict(now moment, i int) {
	p := &b.state.Lines[i].Parting
	if now.Tick-p.TestSince > maxTestTicks { // her place was lost meanwhile
		p.TestSince = 0
	}
	if p.TestSince == 0 || !stepEnds(now) || b.state.Motion.Predictor.Steps-1 < p.BaseStep+horizons[p.Verdicts] {
		return
	}
	odds := b.partedLLR(now, i, p.Verdicts+1)
	if p.Verdicts++; p.Verdicts == horizonCount {
		p.TestSince = 0
	}
	switch {
	case odds > lateVerdictLLR && p.Latch.Up:
		p.TestSince = 0
	case odds > lateVerdictLLR:
		p.RefutedAt = 0
		b.raiseParted(now, i)
		p.TestSince = 0
	}
}

func (b *Berth) raiseParted(now moment, i int) {
	p := &b.state.Lines[i].Parting
	p.Latch.Up, p.PartedAt = true, now.Tick
	b.state.DisturbedAt, b.state.PartedAt = now.Tick, now.Tick
	b.raise(now, i, Change{Condition: LineParted, By: PartedLLR, Onset: p.fallTick() * tickLength, Value: p.LoadBefore, Unit: "kN",
		Detail: fmt.Sprintf("Line %s parted at %.0f kN (%s of MBL); clear the mooring deck of people and hold the ship with the other lines.",
			b.id(i), p.LoadBefore, b.percent(i, p.LoadBefore))})
}

// began is the tick at which the fall that is judged began.
func (p *parting) fallTick() int64 { return max(p.FirstTest, p.TestSince) }

// swung reports whether the others said, after the fall, that the line should
// carry next to nothing: she swung and it went slack.
func (p *parting) wentSlack() bool {
	return p.ExpectedCount > 0 && p.ExpectedSum < slackExpectedShare*p.LoadBefore*p.ExpectedCount
}

// collapsed reports whether line i lost its load within partFall ticks while
// the others say it should carry.
func (b *Berth) collapsed(now moment, i int) bool {
	l := &b.state.Lines[i]
	mbl := b.plan.Lines[i].MBLkN
	before := l.loadAgo(now, collapseTicks)
	if !(before >= partMinLoad*mbl) || math.Abs(l.Pin.Last) > partZeroLoad*mbl || l.Pin.Last > 0.3*before {
		return false
	}
	if l.Parting.UnloadedAt != 0 && now.Tick-l.Parting.UnloadedAt < recentSlackTicks {
		return false
	}
	return (!l.Fit.Known || l.Fit.Expected >= 0.6*before) && !b.groupEased(now, i)
}

// easedAlike reports whether another line of line i's group lost half of its load
// in the same time, and not at a stroke: the ship came in, for a line that lets go
// leaves its load to such a line.
func (b *Berth) groupEased(now moment, i int) bool {
	for k := range b.state.Lines {
		l := &b.state.Lines[k]
		if k == i || b.plan.Lines[k].Group != b.plan.Lines[i].Group || !b.monitored(now, k) {
			continue
		}
		before := l.loadAgo(now, collapseTicks)
		if before >= partMinLoad*b.plan.Lines[k].MBLkN && l.Pin.Last <= before/2 && l.fallTicks(now, before) > strokeFallTicks+l.Pin.intervalTicks() {
			return true
		}
	}
	return false
}

// letGo is the logarithm of the odds that the ship lost the pull of line i at
// the beginning of its fall against that she did not, by the first count sights;
// 0 where it is not known how she usually strays.
func (b *Berth) partedLLR(now moment, i, count int) float64 {
	f, l := &b.state.Motion.Predictor, &b.state.Lines[i]
	p := &l.Parting
	if p.BaseStep <= predictorWarmup+maxHorizon || f.Count < 2*errorDim {
		return 0
	}
	seen := f.errorsFrom(p.BaseStep)
	for k := range seen {
		seen[k] += p.VoteBias[k%modes]
	}
	based := now.Tick - (f.Steps-1-p.BaseStep)*stepTicks
	late := float64(p.TestSince-based)/float64(ticksPerSecond) + 0.2 + 1.5*l.Pin.Interval
	t := b.lossSignature(i, p.LoadBefore, late)
	b.errorChol.whiten(&seen)
	return f.logLR(&seen, &t, count, minLossShare, maxLossShare)
}

// masses are what the ship puts against a push in each mode, tonnes: her
// displacement and the water that moves with her. The shares are common
// practice, no source; yaw has a radius of gyration of a quarter of her length.
func (b *Berth) masses() [modes]float64 {
	d := max(b.plan.Ship.DisplacementT, 1)
	return [modes]float64{1.1 * d, 1.8 * d, 1.6 * d}
}
