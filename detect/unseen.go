package detect

import (
	"math"
	"strings"

	"hawser/detect/mooring"
)

// unseenGroup is the state of one group.
type unseenGroup struct {
	Steps    int32 // in a row that a loss was likely
	SuddenAt int64 // tick at which it last was, and not rather a push that had built up
	RaisedAt int64 // tick, 0 for not raised

	FendersAt  int64   // tick at which her fenders were last what may have pushed her, 0 for never
	FendersLLR float64 // highest log-likelihood ratio of a loss while they were
}

// loss is the evidence that a line let go.
type loss struct {
	far     float64 // log-likelihood ratio by how far the ship moved
	sudden  stepChange
	horizon int // index of the likeliest since
}

func (l *loss) llr() float64 { return l.far + l.sudden.LLR }

// both reports whether each test speaks for it.
func (l *loss) both() bool { return l.far >= redistLeastFar && l.sudden.LLR >= redistLeastSudden }

// findLoss is the evidence that line i with this load let go. recent is filled for the
// first line that needs it; where the ship did not move far, how suddenly is not tested.
func (b *Berth) findLoss(i int, load float64, moves *whitenedErrors, recent *whitenedInnovations) (l loss) {
	l.far, l.horizon = b.errorLLR(i, load, moves)
	if l.far < redistLookFar {
		return loss{horizon: l.horizon}
	}
	if recent.inflation == 0 {
		*recent = b.recentInnovations()
	}
	l.sudden = recent.stepGLR(b.lossAccel(i, load), redistMinShare, redistMaxShare)
	return l
}

// pushedOff takes note that her fenders may be what pushes her, of a loss with this
// log-likelihood ratio, and reports whether they may be all of it: they are now, or were a
// moment ago and it has hardly grown since.
func (u *unseenGroup) pushedOff(now moment, came bool, llr float64) bool {
	if now.Tick-u.FendersAt > redistFenderTicks {
		u.FendersLLR = 0
	}
	if came {
		u.FendersAt, u.FendersLLR = now.Tick, max(u.FendersLLR, llr)
	}
	return came || u.FendersLLR > 0 && llr < u.FendersLLR+redistByFenders
}

// lossThresholds are the log-likelihood ratio from which the loss of line i is raised, and
// that from which it was rather a push that has been building up. The wind is such a push,
// and a known one where it is measured. More is asked for of a line with a pin, after hands
// were at work, and after a parting or a slip.
func (b *Berth) lossThresholds(now moment, i int) (llr, builtUp float64) {
	llr, builtUp = redistLLR, redistBuiltUp
	if b.state.Wind.told(now) {
		llr, builtUp = redistLLRMeasured, redistBuiltUpMeasured
	}
	if b.plan.Lines[i].Instrumented {
		llr *= faultyPinFactor
	}
	switch {
	case b.handledWithin(now, redistLongHandsTicks):
		llr *= redistHandsFactor
	case b.disturbed(now):
		llr *= redistDisturbedFactor
	}
	return llr, builtUp
}

// whitenedErrors are the prediction errors since each horizon's base step, white, and how
// many times larger their variances are to be taken.
type whitenedErrors struct {
	errors    [horizonCount][errorDim]float64
	inflation [horizonCount]float64
}

// recentErrors are the prediction errors that may show a loss.
func (b *Berth) recentErrors() (out whitenedErrors) {
	pr := b.predictor()
	for s, h := range horizons {
		base := pr.Steps - 1 - h
		out.errors[s] = pr.errorsFrom(base)
		b.errorChol().whiten(&out.errors[s])
		out.inflation[s] = pr.noiseInflationBefore(h) * pr.Range.inflation(base)
	}
	return out
}

// errorLLR is the highest log-likelihood ratio that line i with this load let go at
// one of the base steps, by the prediction errors, and the index of the horizon since.
func (b *Berth) errorLLR(i int, load float64, moves *whitenedErrors) (best float64, horizon int) {
	signature := b.lossSignature(i, load, redistLag)
	pr := b.predictor()
	for s, h := range horizons {
		z, sig, wind := moves.errors[s], signature, pr.windMovesFrom(pr.Steps-1-h)
		b.errorChol().whiten(&wind)
		forgive(&wind, s+1, redistWindSD, &z, &sig.along, &sig.across)
		llr := pr.logLR(&z, &sig, s+1, redistMinShare, redistMaxShare, moves.inflation[s])
		if llr > best {
			best, horizon = llr, s
		}
	}
	return best, horizon
}

// recentInnovations are the innovations that may show a loss.
func (b *Berth) recentInnovations() whitenedInnovations {
	pr := b.predictor()
	recent := pr.Innovations.whitened(pr.Steps-1, &b.stepResponse)
	recent.inflation *= pr.Range.inflation(pr.Steps - responseSteps)
	return recent
}

// lossAccel is the acceleration by the loss of a load of line i, m/s².
func (b *Berth) lossAccel(i int, load float64) [modes]float64 {
	return b.pullAccel(b.state.Motion.Centre, i, -load)
}

// cameIn is how far inside its mean position the ship's end where line i leads is, in
// standard deviations, if it was on its way in at the base step of a horizon and the
// prediction error says that she was pushed off: it may be her fenders. 0 otherwise.
func (b *Berth) cameIn(i, horizon int) float64 {
	pr := b.predictor()
	newest, h := pr.Steps-1, horizons[horizon]
	amidships, _ := b.plan.Centre()
	x := (b.plan.Lines[i].Fairlead.X - amidships) / yawArm(&b.plan.Ship)
	offBerth := func(v *[modes]float64) float64 { return v[1] + x*v[2] } // m, from the berth
	off := offBerth(&pr.Errors[horizon][newest%historySteps])
	way := offBerth(&pr.History[(newest-h)%historySteps].FastSpeed) * float64(h) * stepPeriod
	if off <= 0 || way >= -redistInShare*off {
		return 0
	}
	mean, variance := &pr.Range.Mean, &pr.Range.Var
	inside := mean[1] + x*mean[2] - offBerth(&pr.History[newest%historySteps].Pos)
	return max(0, inside) / math.Sqrt(variance[1]+x*x*variance[2])
}

// ownChangeOver reports whether a measured line has gained or lost this load by
// itself, not by the ship's movement, within the steps kept. kN.
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

// canPartUnseen reports whether no pin would show a parting of line i.
func (b *Berth) canPartUnseen(i int) bool {
	return b.models[i].Pull != [modes]float64{} &&
		(!b.plan.Lines[i].Instrumented || b.state.Lines[i].Health.Fault != healthy) && !b.state.Lines[i].Parting.Latch.Up
}

// unseenLine is the line of a group whose parting is tested: the first without a load pin
// or, where each has one, the first with its pin at fault. -1 where a pin would show the
// parting of each. Lines of a group lead alike, so their partings look alike.
func (b *Berth) unseenLine(g mooring.Group) int {
	line := -1
	for i := range b.plan.Lines {
		if l := &b.plan.Lines[i]; l.Group == g && b.canPartUnseen(i) {
			if !l.Instrumented {
				return i
			}
			if line < 0 {
				line = i
			}
		}
	}
	return line
}

// unseenNames are the lines of a group whose parting no pin would show, and what holds
// them: "line 3 and its bollard", "lines 3, 4 and their bollards".
func (b *Berth) unseenNames(g mooring.Group) string {
	var ids []string
	for i := range b.plan.Lines {
		if b.plan.Lines[i].Group == g && b.canPartUnseen(i) {
			ids = append(ids, b.id(i))
		}
	}
	if len(ids) == 1 {
		return "line " + ids[0] + " and its bollard"
	}
	return "lines " + strings.Join(ids, ", ") + " and their bollards"
}

// likelyLoad is the estimated load of a line without a good pin, kN: its share of MBL
// is that of the rest of its group or, where none of them is measured, of all lines.
func (b *Berth) likelyLoad(now moment, i int) (load float64, ok bool) {
	share, ok := b.meanShare(now, func(k int) bool { return k != i && b.plan.Lines[k].Group == b.plan.Lines[i].Group })
	if !ok {
		share, ok = b.meanShare(now, func(k int) bool { return k != i })
	}
	return share * b.plan.Lines[i].MBLkN, ok && share > 0
}

// meanShare is the mean of the shares of MBL of the measured lines that are wanted;
// ok is false where there are none.
func (b *Berth) meanShare(now moment, wanted func(k int) bool) (mean float64, ok bool) {
	n := 0.0
	for k := range b.state.Lines {
		if wanted(k) && b.comparable(now, k) && b.state.Lines[k].MinuteMeanOK {
			share, _ := b.share(k)
			mean += share
			n++
		}
	}
	return mean / max(n, 1), n > 0
}

// unexplainedMove is the newest prediction error of a horizon, seen from the fender face.
func (b *Berth) unexplainedMove(horizon int) *[modes]float64 {
	pr := b.predictor()
	move := b.atFace(pr.Errors[horizon][(pr.Steps-1)%historySteps])
	return &move
}

// felt reports whether the unexplained movement of a horizon changes the loads of two
// lines by redistLeastFelt and adds redistLeastGain to one.
func (b *Berth) felt(horizon int) bool {
	move, lines := b.unexplainedMove(horizon), 0
	for i := range b.state.Lines {
		if b.state.Lines[i].Fit.Weight > 0 && math.Abs(b.loadChange(i, move)) >= redistLeastFelt*b.plan.Lines[i].MBLkN {
			lines++
		}
	}
	return lines >= 2 && b.mostGained(move) >= redistLeastGain
}

// mostGained is the most that a movement adds to a line's load, of MBL.
func (b *Berth) mostGained(move *[modes]float64) (most float64) {
	for i := range b.state.Lines {
		if b.state.Lines[i].Fit.Weight > 0 {
			most = max(most, b.loadChange(i, move)/b.plan.Lines[i].MBLkN)
		}
	}
	return most
}
