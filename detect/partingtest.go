package detect

import "math"

// beginTest begins the test of a fall. The steps since are corrected to the load
// before the fall: the line counts as if it still held.
func (b *Berth) beginTest(now moment, i int) {
	l := &b.state.Lines[i]
	p := &l.Parting
	p.FirstTest, p.LoadBefore = l.fallStart(now)
	p.TestSince, p.Verdicts = p.FirstTest, 0
	p.FellAt, p.Retests, p.Noise = p.FirstTest, 0, [2][modes]noiseModel{}
	p.Stroke = b.atOneStroke(now, i, p.LoadBefore)
	from := p.LoadBefore
	if !l.Fit.Known { // nobody says how far it had come down with the ship
		from = l.recentPeak(now)
	}
	ticks := l.fallTicks(now, from)
	p.Gradual = ticks > maxFallTicks+l.Pin.intervalTicks() || l.minLoad(now, snatchTicks) < 0.3*p.LoadBefore ||
		(ticks > l.strokeTicks() || math.IsNaN(l.Residuals[(now.Tick-collapseTicks)%tickHistory])) && b.othersEased(now, i)
	p.OwnLossSum, p.OwnLossCount = 0, 0
	p.PaidOutBefore = l.Slip.leastSince(p.FirstTest*tickLength-second, l.Drum.PaidOutBefore)
	p.VoteBias = [modes]float64{}
	var sum, n float64
	for k := now.Tick - p.FirstTest + 1; k < tickHistory && n < stepTicks; k++ {
		if v := l.Residuals[(now.Tick-k)%tickHistory]; !math.IsNaN(v) {
			sum, n = sum+v, n+1
		}
	}
	p.ResidualBefore = 0
	if n > 0 {
		p.ResidualBefore = sum / n
		for k := range modes {
			p.VoteBias[k] = l.Fit.Influence[k] * sum / n
		}
	}
	pr := b.predictor()
	newest := now.Tick - (now.Tick+1)%stepTicks
	for n := int64(0); n < pr.Steps && newest-n*stepTicks >= p.FirstTest; n++ {
		load := 0.0
		for k := range int64(stepTicks) {
			load += l.loadAgo(now, now.Tick-newest+n*stepTicks+k) / stepTicks
		}
		if math.IsNaN(load) {
			continue
		}
		for c := range centres {
			forcing := &b.state.Motion.Predictors[c].History[(pr.Steps-1-n)%historySteps].Forcing[forceLines]
			for k, accel := range b.pullAccel(c, i, p.LoadBefore-load) {
				forcing[k] += accel
			}
		}
		accel := b.pullAccel(face, i, p.LoadBefore-load)
		b.state.Motion.Record.amend(now, newest-n*stepTicks, &accel)
		b.state.Motion.Kept.amend(n, &accel)
	}
	if !math.IsNaN(l.StepLoad) {
		l.Pull += p.LoadBefore - l.StepLoad
		l.StepLoad = missing
	}
	p.HoldingPull = l.Pull
}

// firstVerdict tests the nearest horizon and raises a parting, or does not. Where the load
// went at a stroke and the drum is seen not to have run, it is raised early as soon as the
// ship speaks for it, or at once if she is too heavy to answer in time.
func (b *Berth) firstVerdict(now moment, i int) {
	l := &b.state.Lines[i]
	p, pr := &l.Parting, b.predictor()
	since := now.Tick - p.FirstTest
	early := since < firstVerdictTicks-6*l.Pin.intervalTicks()/10 // slow readings show the fall late
	if early && (since < earlyVerdictTicks || !p.Stroke || p.meanLoss() < strokeLoss*p.LoadBefore || !b.drumStood(now, i)) {
		return
	}
	p.BaseStep = pr.Steps - 1 - max((since+stepTicks-1)/stepTicks, horizons[0])
	llr, threshold := b.partedLLR(now, i, 1), float64(firstVerdictLLR)
	switch {
	case early && b.answersAtFirst(i):
		threshold = earlyVerdictLLR
	case !p.Stroke && (p.Gradual || p.LoadBefore < ownChangeSigma*math.Sqrt(p.ChangeMS) || p.ChangeCount < minChangeCount && !l.Fit.Known):
		threshold = lateVerdictLLR
	}
	if early && llr < threshold {
		return
	}
	p.FirstTest, p.Verdicts = 0, 1
	b.report(PartedLLR, i, llr, threshold)
	switch {
	case p.wentSlack():
		p.UnloadedAt, p.TestSince, p.FellAt = now.Tick, 0, 0
	case llr < threshold:
		p.RefutedAt = now.Tick
	default:
		b.raiseParted(now, i)
	}
}

// answersAtFirst reports whether by the first verdict the ship would be seen to have kept
// line i's pull, four times in five: a log-likelihood ratio of -answersLLR is to expect
// then, with a variance of twice that.
func (b *Berth) answersAtFirst(i int) bool {
	pr, l := b.predictor(), &b.state.Lines[i]
	if pr.Count < 2*errorDim {
		return false
	}
	sig := b.lossSignature(i, l.Parting.LoadBefore, readingsLate+1.5*l.Pin.Interval)
	square := 0.0
	for k := range modes {
		square += (sig.along[k] + sig.across[k]) * (sig.along[k] + sig.across[k])
	}
	return square/2 >= answersLLR*pr.noiseInflation()
}

// laterVerdict repeats the test once the next horizon has passed.
func (b *Berth) laterVerdict(now moment, i int) {
	p := &b.state.Lines[i].Parting
	if now.Tick-p.TestSince > maxTestTicks { // the ship's position was unknown meanwhile
		p.TestSince = 0
	}
	if p.TestSince == 0 || !stepEnds(now) || b.predictor().Steps-1 < p.BaseStep+horizons[p.Verdicts] {
		return
	}
	llr := b.partedLLR(now, i, p.Verdicts+1)
	if p.Verdicts++; p.Verdicts == horizonCount {
		p.TestSince = 0
	}
	switch {
	case llr > lateVerdictLLR && p.Latch.Up:
		p.TestSince = 0
	case llr > lateVerdictLLR:
		p.RefutedAt = 0
		b.raiseParted(now, i)
		p.TestSince = 0
	}
}

// wentSlack reports whether the other lines say that the line should have carried
// next to nothing since the fall: the ship moved and it went slack.
func (p *parting) wentSlack() bool {
	return !p.Stroke && p.OwnLossCount > 0 && p.meanLoss() < slackOwnLoss*p.LoadBefore
}

// meanLoss is what the line has lost by the other lines since the fall, on average, kN.
func (p *parting) meanLoss() float64 { return p.OwnLossSum / max(p.OwnLossCount, 1) }

// partedLLR is the log-likelihood ratio that the ship lost line i's pull at the
// beginning of its fall, by the first count horizons; 0 while the covariance of the
// prediction errors is not known.
func (b *Berth) partedLLR(now moment, i, count int) float64 {
	pr, l := b.predictor(), &b.state.Lines[i]
	p := &l.Parting
	if p.BaseStep <= predictorWarmup+maxHorizon || pr.Count < 2*errorDim {
		return 0
	}
	z := pr.errorsFrom(p.BaseStep)
	bias := b.about(b.state.Motion.Centre, p.VoteBias)
	for k := range z {
		z[k] += bias[k%modes]
	}
	baseTick := now.Tick - (pr.Steps-1-p.BaseStep)*stepTicks
	late := float64(p.TestSince-baseTick)/float64(ticksPerSecond) + readingsLate + 1.5*l.Pin.Interval
	sig := b.lossSignature(i, p.LoadBefore, late)
	b.errorChol().whiten(&z)
	return pr.logLR(&z, &sig, count, minLossShare, maxLossShare, pr.noiseInflation())
}
