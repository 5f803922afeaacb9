package detect

import (
	"math"

	"hawser/detect/chart"
)

// zeroShifts watches how far a pin has drifted, since the line was made fast, from
// what the other lines say. A jump or a slow drift that the ship's motion, the tide and
// her drafts do not explain, and that no drum paid out for, is a fault of the pin: a
// real change of one line's load moves the ship and shows in the others. It is raised
// by a CUSUM chart, and over when under 0.02 of MBL; where the pin died, not before it
// reads a load again: by what the others say its line may have come slack.
//
// The chart is designed for a shift of 0.06 of MBL: what exceeds half of it counts,
// less an allowance for the plan's errors. A standard deviation is 0.01 of MBL, or more where the
// pin's mean residual or the other pins' shifts are: over 40 h of randomly drawn scenes
// sound pins were 0.001 of MBL off (MADScale times their median), one time in a
// hundred 0.025, and that not by chance. The plan's errors persist as long as a gust:
// an observation is the mean over a minute, so that successive ones are nearly
// independent, and none raises alone, however wild the minute. By chance a false alarm
// comes once in twenty years of a line, either way; the shift it is designed for is
// raised at the second observation, one of 0.045 at the third or before. Where the line
// seemed to part and the ship did not answer, no gust is to blame, and an observation
// is of 15 s. While lines snatch, or are over their limit with no pay-out to tell of a
// slip, what a line lacks is not held against its pin, and its fit restarts afterwards.
// Lines that slipped say nothing of the others' pins: where a third did, the present
// loads become the reference.
// Source of needing two observations: J. M. Lucas, R. B. Crosier, Robust CUSUM (1982),
// from memory.
const (
	zeroTarget        = 0.06  // of MBL
	zeroSD            = 0.01  // of MBL
	zeroH             = 2.342 // standard deviations; chart.DesignCusum for 2.1e7 observations
	zeroClip          = 2     // standard deviations; most that one observation adds
	zeroInterval      = 60    // seconds
	zeroQuickInterval = 15    // seconds, where the ship did not answer
	zeroClear         = 0.02  // of MBL
	zeroRelearnTau    = 20    // seconds; time constant of the reference while lines snatch, and after many slipped
	refutedSeconds    = 60    // for which a refuted fall counts against the pin
	zeroSlipSeconds   = 600   // for which lines that slipped are no reference
	minRiseGain       = 0.001 // of MBL a metre; least effect of a rise on a pin that is used to estimate it
	minRisePins       = 5
	mostRise          = 8. / 3600 / float64(ticksPerSecond) // m a tick: 8 m an hour, of a large ship discharging on a rising spring tide
	riseError         = 0.5                                 // of what a rise explains, that it may explain wrongly
	// The plan's stiffnesses err by a third and more as lines stiffen under load: of
	// the load by the ship's movement, so much may be unexplained, or less where the
	// line's stiffness ratio is known better.
	stiffnessError = 0.4
	zeroRatioSigma = 6      // standard deviations of the ratio: how it errs in gusts and in a slow rise is not normal
	planErrorDecay = 0.9967 // a second: over five minutes, in which an Offset that took it up gives it back
)

// zeroChart is the chart, in standard deviations.
func zeroChart() chart.Cusum { return chart.Cusum{K: zeroTarget / 2 / zeroSD, H: zeroH} }

// refuted reports whether the line's load fell to nothing a while ago and the ship did
// not answer: a fault of the pin.
func (p *parting) refuted(now moment) bool {
	return p.RefutedAt != 0 && now.Tick-p.RefutedAt < refutedSeconds*int64(ticksPerSecond)
}

// zero is the state of a pin's zero.
type zero struct {
	Offset      float64 // Fit.Offset when it was first trusted, m
	PosStretch  float64 // stretch by the ship's position then, m
	RiseStretch float64 // stretch by her rise then, m
	PlanError   float64 // largest that the plan's errors may have made of Shift since, of MBL; decays over minutes
	FitAge      float64 // Fit.Age; a lower one means that the fit has restarted
	Shift       float64 // of the pin, kN, smoothed over 10 s
	Excess      float64 // of Shift over what the plan may err, of MBL, summed over Seconds
	Seconds     int32   // since the last observation
	Cusum       float64 // standard deviations
	Since       int64   // when Cusum was last 0
	Shifted     bool

	DeadLLR, DeadThreshold float64 // log-likelihood ratio by which the pin was called dead, and its threshold
}

// zeroShifts is the second's step of every pin.
func (b *Berth) zeroShifts(now moment) {
	unsettled := b.snatching() || b.manySlipped()
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		z, f := &l.Zero, &l.Fit
		if !f.Known || !l.Parting.refuted(now) && (f.Age < settledFitAge || !f.Determined) {
			continue
		}
		if f.Age < z.FitAge || z.FitAge == 0 {
			*z = b.trustZero(i)
		} else if unsettled && !z.Shifted && l.Parting.FellAt == 0 {
			// lines slipped, or may have as they snatched: the pins' present loads become the
			// reference
			z.Offset += (f.Offset + f.Residual/f.Stiffness - z.Offset) / zeroRelearnTau
			z.PosStretch += (b.stretchFrom(i, &b.state.Motion.Pos) - z.PosStretch) / zeroRelearnTau
			z.RiseStretch += (b.stretchFromRise(i) - z.RiseStretch) / zeroRelearnTau
		}
		z.PlanError = max(z.PlanError*planErrorDecay, b.planError(i))
		z.FitAge = f.Age
		shift := b.shift(i)
		if f.Load-shift > b.plan.Lines[i].MBLkN && !z.Shifted { // no line carries what is expected: the reference is void
			*z = b.trustZero(i)
			continue
		}
		z.Shift += (shift - z.Shift) / 10
	}
	b.explainByRise()
	typical, planError := b.typicalShift()
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		z, mbl := &l.Zero, b.plan.Lines[i].MBLkN
		allowance, interval := max(z.PlanError, planError), int32(zeroInterval)
		refuted := l.Parting.refuted(now)
		if refuted {
			allowance, interval = 0, zeroQuickInterval
		}
		if !l.Fit.Known || l.Slip.Up || unsettled || b.disturbed(now) ||
			!refuted && (l.Fit.Age < settledFitAge || l.Pin.Last < minFitLoad*mbl || z.Shift < 0 && b.mayHaveSlipped(now, i)) {
			z.reset()
			continue
		}
		allowance += riseError * b.rise.explained[i]
		size := b.ownShift(i)
		if size < zeroClear && !(z.DeadLLR > 0 && l.Pin.Last < partMinLoad*mbl) {
			z.reset()
			z.Shifted, z.DeadLLR = false, 0
		}
		z.Excess += size - allowance
		if z.Seconds++; z.Seconds >= interval {
			z.observe(now, max(zeroSD, chart.MeanScale*l.Fit.Noise/mbl, chart.MADScale*typical))
		}
		b.report(ZeroCusum, i, z.Cusum, zeroH)
	}
}

// trustZero begins with the present load as the reference.
func (b *Berth) trustZero(i int) zero {
	f := &b.state.Lines[i].Fit
	return zero{Offset: f.Offset, FitAge: f.Age, PosStretch: b.stretchFrom(i, &b.state.Motion.Pos), RiseStretch: b.stretchFromRise(i)}
}

// planError is how far the plan's errors may shift what line i should carry now from the
// reference, of MBL. Her position and her rise may undo each other's effect; the errors in
// them do not. How stiff the line is as she moves is estimated.
func (b *Berth) planError(i int) float64 {
	l := &b.state.Lines[i]
	mbl := b.plan.Lines[i].MBLkN
	moved := math.Abs(b.stretchFrom(i, &b.state.Motion.Pos) - l.Zero.PosStretch)
	rose := math.Abs(b.stretchFromRise(i) - l.Zero.RiseStretch)
	return l.Fit.Stiffness / mbl * (min(stiffnessError, zeroRatioSigma*l.Stiffness.sd(&l.Fit, mbl))*moved + stiffnessError*rose)
}

// manySlipped reports whether as many lines slipped lately as a third of those that have
// an expected load.
func (b *Berth) manySlipped() bool {
	slipped, known := 0, 0
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		if l.Fit.Known {
			known++
		}
		if l.Slip.Up && l.Slip.Quiet < zeroSlipSeconds {
			slipped++
		}
	}
	return slipped > 0 && 3*slipped >= known
}

// mayHaveSlipped reports whether line i is or was lately so hard loaded that it may have
// slipped without a pay-out sensor to tell: what it lacks is then no fault of its pin.
func (b *Berth) mayHaveSlipped(now moment, i int) bool {
	return b.state.Lines[i].Overload.Up && !b.hasPayout(now, i)
}

// reset restarts the observation and the sum.
func (z *zero) reset() { z.Excess, z.Seconds, z.Cusum = 0, 0, 0 }

// observe takes the mean excess since the last observation into the sum. sd is the
// standard deviation, of MBL.
func (z *zero) observe(now moment, sd float64) {
	c := zeroChart()
	if z.Cusum == 0 {
		z.Since = now.Time - int64(z.Seconds)*second
	}
	x := z.Excess / float64(z.Seconds) / sd
	sum, over := c.Next(z.Cusum, min(x, c.K+zeroClip))
	z.Excess, z.Seconds, z.Cusum = 0, 0, sum
	z.Shifted = z.Shifted || over
}
