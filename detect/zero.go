package detect

import (
	"math"

	"hawser/detect/chart"
)

// zero watches how far a pin has come from what the other lines say since the
// line was made fast. A jump or a slow drift that the ship's motion, tide and
// drafts do not explain, and no drum paid out for, is the pin's: a real change
// of one line's load moves the ship and shows in the others. It is told by a
// cumulative sum, and well again under 0.02 of MBL.
//
// The sum is designed for a shift of 0.06 of MBL: what passes half of it counts,
// less what the plan may err. A standard deviation is 0.01 of MBL, or more where
// the pin's usual difference or the other pins' shifts are: over 40 h of scenes
// drawn by lot sound pins were 0.001 of MBL off (MADScale times their median), one
// time in a hundred 0.025, and that not by chance. What the plan errs
// lasts as long as a gust: a judgement is of the mean over a minute, so that one
// says little of the next, and none tells alone, however wild the minute. By
// chance it would tell once in twenty years of a line, either way; it tells the
// shift it is designed for at the second judgement, one of 0.045 at the third or
// before. Where the line seemed to part and the ship did not answer no gust is to
// blame, and a judgement is of 15 s. Source of taking two to tell: J. M. Lucas,
// R. B. Crosier, Robust CUSUM (1982), from memory.
const (
	zeroTarget        = 0.06  // of MBL
	zeroSD            = 0.01  // of MBL
	zeroH             = 2.342 // standard deviations; chart.DesignCusum for 2.1e7 judgements
	zeroClip          = 2     // standard deviations, most that one judgement adds
	zeroInterval      = 60    // seconds
	zeroQuickInterval = 15    // seconds, where the ship did not answer
	zeroClear         = 0.02  // of MBL
	zeroRelearnTau    = 20    // seconds; time constant with which a pin is believed anew after a parting
	refutedSeconds    = 60    // seconds for which that is held against the pin
	minRiseGain       = 0.01  // of MBL a metre, least that a pin must feel of a rise to speak of it
	minRisePins       = 5
	// The plan's stiffnesses err by a third and more as lines stiffen under load:
	// of what the ship's way has put on a line, so much may be unexplained.
	stiffnessError = 0.4
	shipLoadDecay  = 0.9967 // a second: over five minutes, as a Base that took it up gives it back
)

func zeroChart() chart.Cusum { return chart.Cusum{K: zeroTarget / 2 / zeroSD, H: zeroH} }

// denied reports whether the line's load fell to nothing a while ago and the
// ship did not answer: the pin's doing.
func (p *parting) refuted(now moment) bool {
	return p.RefutedAt != 0 && now.Tick-p.RefutedAt < refutedSeconds*int64(ticksPerSecond)
}

// zero is the state of a pin's zero.
type zero struct {
	Offset      float64 // what Fit.Base was when first trusted, m
	ShipStretch float64 // how far the ship's way drew the line out then, m
	ShipLoad    float64 // how far that has gone since, of MBL; fades over minutes
	FitAge      float64 // Fit.Age then; a younger fit is a new beginning
	Shift       float64 // kN, smoothed over 10 s
	Excess      float64 // of Shift over what the plan may err, of MBL, summed over Seconds
	Seconds     int32   // since the last judgement
	Cusum       float64 // cumulative, in standard deviations
	Since       int64   // when Sum was last 0
	Shifted     bool

	DeadLLR, DeadThreshold float64 // log of the odds by which the pin was called dead, and their threshold
}

// zeros takes a second's step for every pin.
func (b *Berth) zeroShifts(now moment) {
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		z, f := &l.Zero, &l.Fit
		if !f.Known || f.Age < settledFitAge {
			continue
		}
		if f.Age < z.FitAge || z.FitAge == 0 {
			*z = zero{Offset: f.Offset, FitAge: f.Age, ShipStretch: b.stretchFromShip(i)}
		} else if b.partedRecently(now) && !z.Shifted && l.Parting.FellAt == 0 {
			// she lies as never before: what the pins say is taken as it is
			z.Offset += (f.Offset + f.Residual/f.Stiffness - z.Offset) / zeroRelearnTau
			z.ShipStretch += (b.stretchFromShip(i) - z.ShipStretch) / zeroRelearnTau
		}
		z.ShipLoad = max(z.ShipLoad*shipLoadDecay, f.Stiffness*math.Abs(b.stretchFromShip(i)-z.ShipStretch)/b.plan.Lines[i].MBLkN)
		z.FitAge = f.Age
		z.Shift += (b.shift(i) - z.Shift) / 10
	}
	rise := b.impliedRise()
	typical, went := b.typicalShift(rise)
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		z, mbl := &l.Zero, b.plan.Lines[i].MBLkN
		astray, every := stiffnessError*max(z.ShipLoad, went), int32(zeroInterval)
		if l.Parting.refuted(now) {
			astray, every = 0, zeroQuickInterval
		}
		if !l.Fit.Known || l.Slip.Up || b.disturbed(now) || l.Fit.Age < settledFitAge ||
			l.Pin.Last < minFitLoad*mbl && !l.Parting.refuted(now) {
			z.reset()
			continue
		}
		astray += math.Abs(rise*b.loadPerRise(i)) / mbl
		size := b.ownShift(i, rise)
		if size < zeroClear {
			z.reset()
			z.Shifted, z.DeadLLR = false, 0
		}
		z.Excess += size - astray
		if z.Seconds++; z.Seconds >= every {
			z.judge(now, max(zeroSD, chart.MeanScale*l.Fit.Noise/mbl, chart.MADScale*typical))
		}
		b.report(ZeroCusum, i, z.Cusum, zeroH)
	}
}

func (z *zero) reset() { z.Excess, z.Seconds, z.Cusum = 0, 0, 0 }

// judge takes the mean excess since the last judgement into the sum.
func (z *zero) judge(now moment, spread float64) {
	c := zeroChart()
	if z.Cusum == 0 {
		z.Since = now.Time - int64(z.Seconds)*second
	}
	x := z.Excess / float64(z.Seconds) / spread
	sum, told := c.Next(z.Cusum, min(x, c.K+zeroClip))
	z.Excess, z.Seconds, z.Cusum = 0, 0, sum
	z.Shifted = z.Shifted || told
}

// shift is how far line i is from what the others say with the Base that was
// first trusted, kN.
func (b *Berth) shift(i int) float64 {
	l := &b.state.Lines[i]
	f := &l.Fit
	said := b.models[i].loadAt(f.Stretch+l.Zero.Offset-f.Offset, f.Load, f.Stretch, f.Stiffness)
	return f.Residual + f.Load - said
}

// unreadRise is the ship's rise in metres that the shifts of the pins, taken
// together, speak for: tide and cargo where nobody tells levels and drafts, or
// where the plan errs in what they do. It is the median of what each pin says, so
// that one pin's fault does not sway it.
func (b *Berth) impliedRise() float64 {
	var says [64]float64
	n := 0
	for i := range b.state.Lines {
		l, lift := &b.state.Lines[i], b.loadPerRise(i)
		if l.Fit.Known && n < len(says) && math.Abs(lift) > minRiseGain*b.plan.Lines[i].MBLkN {
			says[n] = l.Zero.Shift / lift
			n++
		}
	}
	if n < minRisePins {
		return 0
	}
	return median(says[:n])
}

// ownShift is the magnitude of line i's shift, of MBL, or of what it has over the
// middling shift of the rest of its group where that is less: lines that lead
// alike err alike, and pins do not fail by the group.
func (b *Berth) ownShift(i int, rise float64) float64 {
	shift := func(k int) float64 {
		return (b.state.Lines[k].Zero.Shift - rise*b.loadPerRise(k)) / b.plan.Lines[k].MBLkN
	}
	var mates [64]float64
	n := 0
	for k := range b.state.Lines {
		if k != i && n < len(mates) && b.plan.Lines[k].Group == b.plan.Lines[i].Group && b.state.Lines[k].Fit.Known {
			mates[n] = shift(k)
			n++
		}
	}
	return min(math.Abs(shift(i)), math.Abs(shift(i)-median(mates[:n])))
}

// typicalShift is the median magnitude of all pins' shifts, of MBL, and of how
// far the ship's way took their loads.
func (b *Berth) typicalShift(rise float64) (shift, went float64) {
	var sizes, ways [64]float64
	n := 0
	for i := range b.state.Lines {
		if l := &b.state.Lines[i]; l.Fit.Known && n < len(sizes) {
			sizes[n] = math.Abs(l.Zero.Shift-rise*b.loadPerRise(i)) / b.plan.Lines[i].MBLkN
			ways[n] = l.Zero.ShipLoad
			n++
		}
	}
	return median(sizes[:n]), median(ways[:n])
}
