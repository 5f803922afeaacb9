package detect

import (
	"fmt"
	"math"
)

// The retest of a parting: one that was raised, and that the tests of the first twelve
// seconds neither confirm nor refute, is tested again on the record of the ship's
// motion over the next minutes and the minutes before. By Newton's second law
//
//	acceleration = (pull of the lines + wind + unknown forces) / mass
//
// Were the line gone, its pull would be missing from the moment of its fall: a step in
// the unknown forces, in surge, sway and yaw as the line leads. The wind force is
// known as far as the anemometer goes, with a prior for the plan's errors. What is
// left, gusts and seas, is noise whose spectrum is estimated from the record before
// the fall (see noiseModel).
//
// The two hypotheses, the pull gone and the line holding, are compared by their
// likelihoods. The force of the fenders is not measured, so each hypothesis is taken
// with the ship off them and on them, fore and aft, over more or less of her range of
// movement, and with them softer and harder than the plan's, and the likeliest of each
// counts. In surge, where she has lain as still as if her fenders held her, they may have
// held her afterwards too.
//
// A pin that died is raised as its fault at once; a line whose parting stays in doubt
// counts as parted. Source: generalised likelihood ratio, A. S. Willsky, H. L. Jones
// (1976), from memory; the thresholds are common practice, no source.
const (
	minSpansBefore = 45   // spans before the fall that the test needs
	maxSpansBefore = 180  // and uses
	maxMisfit      = 4    // mean square misfit, in variances, over which no hypothesis holds
	responseLLR    = 5    // log-likelihood ratio that the ship answered in any way, from which no pin is called dead
	responseShare  = 0.25 // of the ratio that the line holds, where that is more
	settledLLR     = 8    // from which a parting is beyond doubt
	minMissing     = 0.5  // of the pull; least that is missing where the line is gone
	maxMissing     = 1.5  // most; the ship's inertia is no better known
	missingStep    = 0.125
	heldShare      = 0.2 // of the movement that the loss would cause; the most in surge of a ship that her fenders hold
)

// retestSchedule is when a fall is tested, in spans after it, and the log-likelihood
// ratio under which its pin is called dead: the nearer to 0 the more of the seas has
// been seen, until she has moved for other reasons.
var retestSchedule = [...]struct {
	after     int64
	threshold float64
}{{6, -6}, {9, -5}, {13, -4}, {18, -4}, {24, -4}, {32, -3}, {40, -3}, {56, -3}, {80, -4}, {110, -4}}

// awaitsRetest reports whether a parting that was raised is still to be tested.
func (p *parting) awaitsRetest() bool {
	return p.FellAt != 0 && p.Latch.Up && int(p.Retests) < len(retestSchedule)
}

// retest makes the test that is due, if any.
func (b *Berth) retest(now moment, i int) {
	p := &b.state.Lines[i].Parting
	if p.FellAt == 0 || !spanEnds(now.Tick) {
		return
	}
	after := (now.Tick + 1 - p.FellAt) / spanTicks
	if after > recordKept {
		p.FellAt = 0
	}
	if !p.awaitsRetest() || after < retestSchedule[p.Retests].after {
		return
	}
	if b.state.Lines[i].Pin.Last >= partMinLoad*b.plan.Lines[i].MBLkN {
		return // it reads a load again: neither parted nor dead
	}
	threshold := retestSchedule[p.Retests].threshold
	if b.otherFalls(i) { // the effects of one are easily taken for the other's
		threshold *= 2
	}
	llr, ok := b.recordLLR(now, i)
	p.Retests++
	if !ok {
		return
	}
	switch {
	case llr > settledLLR:
		p.Retests = int32(len(retestSchedule))
	case llr < threshold:
		b.declarePinDead(now, i, -llr, -threshold)
	}
}

// otherFalls reports whether another line fell at about the time of line i.
func (b *Berth) otherFalls(i int) bool {
	fell := b.state.Lines[i].Parting.FellAt
	for k := range b.state.Lines {
		o := b.state.Lines[k].Parting.FellAt
		if k != i && o != 0 && max(o-fell, fell-o) < retestSchedule[len(retestSchedule)-1].after*spanTicks {
			return true
		}
	}
	return false
}

// declarePinDead retracts a parting: the pin died. llr and threshold are those of the
// line holding.
func (b *Berth) declarePinDead(now moment, i int, llr, threshold float64) {
	l := &b.state.Lines[i]
	l.Pull, l.StepLoad = l.Parting.HoldingPull, missing
	if l.Zero.FitAge == 0 {
		l.Zero = b.trustZero(i)
	}
	l.Zero.Shifted, l.Zero.Since = true, l.Parting.FellAt*tickLength
	l.Zero.DeadLLR, l.Zero.DeadThreshold = llr, threshold
	b.retractParting(now, i)
}

// retractParting clears a parting that was raised.
func (b *Berth) retractParting(now moment, i int) {
	p := &b.state.Lines[i].Parting
	p.Latch, p.RefutedAt, p.TestSince, p.FellAt = latch{}, now.Tick, 0, 0
	if b.state.DisturbedAt == p.PartedAt {
		b.state.DisturbedAt = 0
	}
	b.clear(now, i, Change{Condition: LineParted, Value: p.LoadBefore, Unit: "kN",
		Detail: fmt.Sprintf("Line %s: the ship has not moved as she would without it, so its load pin is doubtful; keep clear of the mooring deck until the line is seen to hold.", b.id(i))})
}

// recordLLR is the log-likelihood ratio that line i is gone since its fall against
// that it holds; ok is false where the record does not allow a judgement.
func (b *Berth) recordLLR(now moment, i int) (llr float64, ok bool) {
	p := &b.state.Lines[i].Parting
	w := b.windowOf(now, p.FellAt)
	if w.before < minSpansBefore {
		return 0, false
	}
	held := b.heldInSurge(&w, i)
	// deviances: minus twice the log-likelihood, least over each hypothesis
	gone, holds, free := math.Inf(1), math.Inf(1), math.Inf(1)
	bestMisfit := 0.0 // over all
	count := float64(modes * w.rows())
	for k, depth := range [...]int{0, contactLevels} {
		gram, logDet := b.gramMatrices(&w, i, &p.Noise[k], depth)
		goneBy, holdsBy, freeBy := math.Inf(1), math.Inf(1), math.Inf(1) // misfits
		for _, l := range leanings {
			surge, sway, yaw := gram[0].misfit(l), gram[1].misfit(l), gram[2].misfit(l)
			from := minMissing
			if held && l.fore+l.aft > 0 {
				from = 0
			}
			goneBy = min(goneBy, leastFrom(from, surge)+leastFrom(minMissing, sway, yaw))
			holdsBy = min(holdsBy, surge.none+sway.none+yaw.none)
			freeBy = min(freeBy, surge.least()+sway.least()+yaw.least())
		}
		deviance := func(misfit float64) float64 { return logDet + count*math.Log(misfit/count) }
		gone, holds = min(gone, deviance(goneBy)), min(holds, deviance(holdsBy))
		if d := deviance(freeBy); d < free { // the others are cases of it
			free, bestMisfit = d, freeBy
		}
	}
	if bestMisfit > maxMisfit*count { // no hypothesis fits
		return 0, false
	}
	llr = (holds - gone) / 2
	response := (holds - free) / 2
	if llr < 0 && response > max(responseLLR, responseShare*-llr) {
		return 0, false
	}
	return llr, true
}

// heldInSurge reports whether the ship lay so still in surge before the fall that her
// fenders may have held her.
func (b *Berth) heldInSurge(w *retestWindow, i int) bool {
	r, pull := &b.state.Motion.Record, b.models[i].Pull[0]
	var stiffness float64
	for k := range b.state.Lines {
		if b.state.Lines[k].Fit.Weight > 0 {
			g := b.models[k].Pull[0]
			stiffness += b.stiffness(k) * g * g
		}
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for n := w.sinceFall + 1; n < w.spans; n++ {
		surge := r.ago(n).Pos[0]
		lo, hi = min(lo, surge), max(hi, surge)
	}
	return (hi-lo)*stiffness < heldShare*b.state.Lines[i].Parting.LoadBefore*math.Abs(pull)
}
