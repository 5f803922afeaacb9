package detect

import (
	"fmt"
	"math"

	"hawser/detect/mooring"
)

// redistribution watches for a parting that nobody sees: a line without a load
// pin, or with its pin at fault, lets go, and all there is to it is how the ship
// moves. The loss of one line's pull has a mark of its own: she goes off, ahead
// or astern and swings about a point that depends on where the line led, ever
// further with the square of the time. So every half second her surprises (see
// foresight) from 2, 3.5, 5.5, 8 and 12 s ago until now are held against the move
// that the loss of each unseen line would make:
//
//	likely   the logarithm of the odds of that move against her usual straying is
//	         over unseenOdds, that of the looks of a month: were her surprises as
//	         usual and no two looks alike, chance would tell falsely of a group once
//	         in that time at most, and looks near each other are alike. Where she went
//	         wilder than usual for a while the odds count for less
//	of size  it stands for between 0.4 and 1.5 of the load that line likely has
//	away     its fairlead did go from its hook, by 0.3 of the surprise at least: a
//	         ship that comes in and meets her fenders is pushed off too
//	felt     two lines or more are off by 0.008 of MBL
//	unowned  no line that is measured gave or took of itself, not by the ship's way,
//	         as much as 0.4 of that load in the last 16 s: what moved her is then known
//
// Gusts can hide a loss from her surprises, which look at how far she has gone, and
// not from her swerves (see swerve.go), which look at how suddenly she began. Where
// the surprises only hint at a loss (unseenHint), the swerves of the last 12 s may
// tell it by themselves: their odds over unseenSharp, the fairlead not nearer its
// hook, two lines off by 0.012 of MBL, and her ways learnt for six minutes.
//
// Told for the group of the unseen line, and cleared after 10 min. Source:
// Newton's second law; the figures other than the odds are common practice, no
// source.
const (
	redistLLR           = 15.5
	faultyPinFactor     = 1.6 // how much higher for a line whose pin is at fault
	redistMinShare      = 0.4
	redistMaxShare      = 1.5
	redistMinChange     = 0.008 // of MBL
	redistAwayShare     = 0.3   // of the surprise
	redistOwnShare      = 0.4   // of the load
	redistLag           = 0.5   // s; readings and places lag so far behind, about
	redistHoldSteps     = 2     // looks in a row
	redistHintLLR       = 7     // odds by her surprises, from which her swerves may tell
	innovationLLR       = 14    // odds by her swerves
	innovationMinChange = 0.012 // of MBL
	innovationMinSteps  = 720   // looks since her place was last not known
	redistClearTicks    = 600 * int64(ticksPerSecond)
)

// unseen is the state of one group.
type unseenGroup struct {
	Steps    int32
	RaisedAt int64 // tick at which it was told, 0 for not
}

func (b *Berth) redistribution(now moment) {
	if !stepEnds(now) {
		return
	}
	for g := range b.state.Unseen {
		u := &b.state.Unseen[g]
		if u.RaisedAt != 0 && now.Tick-u.RaisedAt >= redistClearTicks {
			u.RaisedAt = 0
			b.clear(now, -1, Change{Condition: Redistribution, Group: mooring.Group(g), Unit: "%",
				Detail: fmt.Sprintf("No further jump of the lines about the %s lines was seen.", mooring.Group(g))})
		}
	}
	f := &b.state.Motion.Predictor
	if f.Steps <= predictorWarmup+2*maxHorizon || f.Count < minErrorCount || b.disturbed(now) || b.state.Watch.Off {
		return
	}
	b.testUnseen(now)
}

// suspect holds the surprises against every unseen line, and tells the likeliest.
func (b *Berth) testUnseen(now moment) {
	var tried [mooring.Stern + 1]bool
	var seen [horizonCount][errorDim]float64
	var sharp whitenedInnovations
	ready := false
	best, who, sight, least := 0.0, -1, 0, 0.0
	for i := range b.plan.Lines {
		g := b.plan.Lines[i].Group
		u := &b.state.Unseen[g]
		if tried[g] || u.RaisedAt != 0 || !b.canPartUnseen(i) {
			continue
		}
		load, ok := b.likelyLoad(now, i)
		if !ok {
			continue
		}
		tried[g] = true
		if !ready {
			ready = true
			for s, h := range horizons {
				seen[s] = b.state.Motion.Predictor.errorsFrom(b.state.Motion.Predictor.Steps - 1 - h)
				b.errorChol.whiten(&seen[s])
			}
		}
		odds, at := b.errorLLR(i, load, &seen)
		away, felt := redistAwayShare, redistMinChange
		if odds >= redistHintLLR && odds < redistLLR {
			if j := b.innovationGLR(i, load, &sharp); j.LLR >= innovationLLR {
				odds, at, away, felt = redistLLR, horizonOf(j.Age), 0, innovationMinChange // certain enough
			}
		}
		b.reportGroup(UnseenLLR, g, odds, redistLLR)
		if odds < redistLLR || !b.movedAway(i, at, away) || b.ownChangeOver(redistOwnShare*load) {
			u.Steps = 0
			continue
		}
		if u.Steps++; u.Steps >= redistHoldSteps && odds > best {
			best, who, sight, least = odds, i, at, felt
		}
	}
	if who < 0 {
		return
	}
	felt, worst := b.linesAffected(&b.state.Motion.Predictor.Errors[sight][(b.state.Motion.Predictor.Steps-1)%historySteps], least)
	if felt < 2 {
		return
	}
	g := b.plan.Lines[who].Group
	u := &b.state.Unseen[g]
	u.Steps, u.RaisedAt = 0, now.Tick
	b.state.DisturbedAt, b.state.PartedAt = now.Tick, now.Tick
	took := float64(horizons[sight]) * stepPeriod
	b.raise(now, -1, Change{Condition: Redistribution, By: UnseenLLR, Group: g, Onset: now.Time - int64(took*float64(second)), Value: 100 * worst, Unit: "%",
		Detail: fmt.Sprintf("The ship moved as if one of the %s lines had let go, with up to %.1f %% of MBL more on other lines in %.0f s, and no line with a load pin did; keep clear of the mooring deck and find out whether line %s and its bollard hold.",
			g, 100*worst, took, b.id(who))})
}

// unseenOdds is the best odds that line i with this load let go at one of the
// bases, and the sight from it.
func (b *Berth) errorLLR(i int, load float64, seen *[horizonCount][errorDim]float64) (best float64, sight int) {
	t := b.lossSignature(i, load, redistLag)
	for s := range horizons {
		odds := b.state.Motion.Predictor.logLR(&seen[s], &t, s+1, redistMinShare, redistMaxShare)
		if odds > best {
			best, sight = odds, s
		}
	}
	if b.plan.Lines[i].Instrumented { // two things wrong at once are less likely
		best /= faultyPinFactor
	}
	return best, sight
}

// sharply holds her swerves against the loss of line i, not of one whose pin is at
// fault; they are made white for the first line that asks.
func (b *Berth) innovationGLR(i int, load float64, sharp *whitenedInnovations) stepChange {
	f := &b.state.Motion.Predictor
	if f.Steps < innovationMinSteps || f.Innovations.Count < minInnovations || b.plan.Lines[i].Instrumented {
		return stepChange{}
	}
	if sharp.inflation == 0 {
		*sharp = f.Innovations.whitened(f.Steps-1, &b.stepResponse)
	}
	return sharp.stepGLR(b.lossAccel(i, load), redistMinShare, redistMaxShare)
}

// unpulled is the acceleration by the loss of a load of line i, m/s².
func (b *Berth) lossAccel(i int, load float64) (push [modes]float64) {
	mass := b.masses()
	for m := range modes {
		push[m] = -load * b.models[i].Pull[m] / mass[m]
	}
	return push
}

// sightOf is the sight that looks back as far as so many looks, about.
func horizonOf(looks int) int {
	for s, h := range horizons {
		if int64(looks) <= h {
			return s
		}
	}
	return horizonCount - 1
}

// away reports whether the fairlead of line i went from its hook by this share of
// what the surprise of that sight asks.
func (b *Berth) movedAway(i, sight int, share float64) bool {
	f := &b.state.Motion.Predictor
	now, base := &f.History[(f.Steps-1)%historySteps].Pos, &f.History[(f.Steps-1-horizons[sight])%historySteps].Pos
	went := [modes]float64{now[0] - base[0], now[1] - base[1], now[2] - base[2]}
	run := &b.models[i].Jacobian
	return dot(run, &went) >= share*dot(run, &f.Errors[sight][(f.Steps-1)%historySteps])
}

// owned reports whether a measured line has given or taken this load of itself
// within the looks kept.
func (b *Berth) ownChangeOver(load float64) bool {
	for i := range b.state.Lines {
		if !b.plan.Lines[i].Instrumented {
			continue
		}
		own := &b.state.Lines[i].OwnChange
		lo, hi := own[0], own[0]
		for _, v := range own {
			lo, hi = min(lo, v), max(hi, v)
		}
		if hi-lo >= load {
			return true
		}
	}
	return false
}

// hidden reports whether nobody would see line i part.
func (b *Berth) canPartUnseen(i int) bool {
	return b.models[i].Pull != [modes]float64{} &&
		(!b.plan.Lines[i].Instrumented || b.state.Lines[i].Health.Fault != healthy) && !b.state.Lines[i].Parting.Latch.Up
}

// likelyLoad is what an unseen line likely carries: its share is that of the rest
// of its group.
func (b *Berth) likelyLoad(now moment, i int) (load float64, ok bool) {
	n := 0.0
	for k := range b.state.Lines {
		if k != i && b.plan.Lines[k].Group == b.plan.Lines[i].Group && b.comparable(now, k) && b.state.Lines[k].MinuteMeanOK {
			share, _ := b.share(k)
			load += share * b.plan.Lines[i].MBLkN
			n++
		}
	}
	return load / max(n, 1), n > 0 && load > 0
}

// feel is how many lines feel a move by a share of MBL or more, and the most
// that one gains, of MBL.
func (b *Berth) linesAffected(move *[modes]float64, least float64) (felt int, worst float64) {
	for i := range b.state.Lines {
		if b.state.Lines[i].Fit.Weight == 0 {
			continue
		}
		gain := b.loadChange(i, move) / b.plan.Lines[i].MBLkN
		if math.Abs(gain) >= least {
			felt++
		}
		worst = max(worst, gain)
	}
	return felt, worst
}
