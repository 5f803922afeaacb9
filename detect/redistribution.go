package detect

import (
	"fmt"

	"hawser/detect/mooring"
)

// redistribution detects a parting that no pin shows: a line without a load pin, or
// with its pin at fault, lets go, and the only evidence is how the ship moves. The loss
// of one line's pull has a signature of its own: she moves off, ahead or astern, and
// swings about a point that depends on where the line led, ever further with the square
// of the time. So every half-second step the prediction errors (see predictor) from 2,
// 3.5, 5.5, 8 and 12 s ago until now are tested for the loss of each such line. All of
// these must hold:
//
//	likely    the log-likelihood ratio of the loss against ordinary disturbances is
//	          over redistLLR, that of the steps of a month: if the errors were as usual
//	          and independent from step to step, chance would raise one false alarm for
//	          a group in that time at most, and neighbouring steps are alike. After a
//	          minute wilder than usual the ratio counts for less
//	size      it stands for between 0.4 and 1.5 of the line's estimated load
//	away      its fairlead did move away from its hook, by 0.3 of the prediction error
//	          at least: a ship that comes in and meets her fenders is pushed off too
//	affected  two lines or more change by 0.008 of MBL
//	no cause  no measured line changed by itself, other than by the ship's movement, by
//	          0.4 of that load or more in the last 16 s: the cause would then be known
//
// Gusts can hide a loss from the prediction errors, which show how far she has gone,
// but not from the innovations, which show how suddenly she began to move. Where the
// prediction errors only hint at a loss (redistHintLLR), the innovations of the last
// 12 s may show it by themselves: their log-likelihood ratio over innovationLLR, the
// fairlead not nearer its hook, two lines changed by 0.012 of MBL, and the position
// known for six minutes.
//
// Raised for the group of the line, and cleared after 10 min. Source: Newton's second
// law; the figures other than redistLLR are common practice, no source.
const (
	redistLLR        = 15.5
	faultyPinFactor  = 1.6 // on the threshold, for a line whose pin is at fault
	redistMinShare   = 0.4
	redistMaxShare   = 1.5
	redistMinChange  = 0.008 // of MBL
	redistAwayShare  = 0.3   // of the prediction error
	redistOwnShare   = 0.4   // of the load
	redistLag        = 0.5   // s; delay of readings and positions, about
	redistHoldSteps  = 2     // in a row
	redistClearTicks = 600 * int64(ticksPerSecond)

	redistHintLLR       = 7     // by the prediction errors, from which the innovations are tested
	innovationLLR       = 14    // by the innovations
	innovationMinChange = 0.012 // of MBL
	innovationMinSteps  = 720   // since the position was last unknown
)

// redistribution clears what is over and, once the predictor is settled, tests the
// lines whose parting no pin shows.
func (b *Berth) redistribution(now moment) {
	if !stepEnds(now) {
		return
	}
	for g := range b.state.Unseen {
		u := &b.state.Unseen[g]
		if u.RaisedAt != 0 && now.Tick-u.RaisedAt >= redistClearTicks {
			u.RaisedAt = 0
			b.clear(now, -1, Change{Condition: Redistribution, Group: mooring.Group(g), Unit: "%",
				Detail: fmt.Sprintf("No further sudden change of load was seen about the %s lines.", mooring.Group(g))})
		}
	}
	pr := &b.state.Motion.Predictor
	if pr.Steps <= predictorWarmup+2*maxHorizon || pr.Count < minErrorCount || b.disturbed(now) || b.state.Watch.Off {
		return
	}
	b.testUnseen(now)
}

// testUnseen tests the loss of a line in each group, and raises the likeliest.
func (b *Berth) testUnseen(now moment) {
	var tested [mooring.Stern + 1]bool
	var errors [horizonCount][errorDim]float64
	var recent whitenedInnovations
	ready := false
	best, line, horizon, minChange := 0.0, -1, 0, 0.0
	for i := range b.plan.Lines {
		g := b.plan.Lines[i].Group
		u := &b.state.Unseen[g]
		if tested[g] || u.RaisedAt != 0 || !b.canPartUnseen(i) {
			continue
		}
		load, ok := b.likelyLoad(now, i)
		if !ok {
			continue
		}
		tested[g] = true
		if !ready {
			ready = true
			for s, h := range horizons {
				errors[s] = b.state.Motion.Predictor.errorsFrom(b.state.Motion.Predictor.Steps - 1 - h)
				b.errorChol.whiten(&errors[s])
			}
		}
		llr, at := b.errorLLR(i, load, &errors)
		away, change := redistAwayShare, redistMinChange
		if llr >= redistHintLLR && llr < redistLLR {
			if c := b.innovationGLR(i, load, &recent); c.LLR >= innovationLLR {
				llr, at, away, change = redistLLR, horizonOf(c.Age), 0, innovationMinChange // the threshold is passed
			}
		}
		b.reportGroup(UnseenLLR, g, llr, redistLLR)
		if llr < redistLLR || !b.movedAway(i, at, away) || b.ownChangeOver(redistOwnShare*load) {
			u.Steps = 0
			continue
		}
		if u.Steps++; u.Steps >= redistHoldSteps && llr > best {
			best, line, horizon, minChange = llr, i, at, change
		}
	}
	if line >= 0 {
		b.raiseRedistribution(now, line, horizon, minChange)
	}
}

// raiseRedistribution raises the loss of line i over a horizon, where two lines or
// more are affected.
func (b *Berth) raiseRedistribution(now moment, i, horizon int, minChange float64) {
	affected, worst := b.linesAffected(&b.state.Motion.Predictor.Errors[horizon][(b.state.Motion.Predictor.Steps-1)%historySteps], minChange)
	if affected < 2 {
		return
	}
	g := b.plan.Lines[i].Group
	u := &b.state.Unseen[g]
	u.Steps, u.RaisedAt = 0, now.Tick
	b.state.DisturbedAt, b.state.PartedAt = now.Tick, now.Tick
	took := float64(horizons[horizon]) * stepPeriod
	b.raise(now, -1, Change{Condition: Redistribution, By: UnseenLLR, Group: g, Onset: now.Time - int64(took*float64(second)), Value: 100 * worst, Unit: "%",
		Detail: fmt.Sprintf("The ship moved as if one of the %s lines had let go, with up to %.1f %% of MBL more on other lines in %.0f s, and no line with a load pin did; keep clear of the mooring deck and find out whether line %s and its bollard hold.",
			g, 100*worst, took, b.id(i))})
}
