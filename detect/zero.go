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
// the pin's usual difference or the other pins' shifts are. Judged every 15 s,
// longer than the shift is smoothed over, it would tell by chance once in
// twenty years of a line, either way; it tells the shift it is designed for at
// the first or second judgement, and one of 0.045 within a minute.
const (
	zeroFind   = 0.06  // of MBL
	zeroSpread = 0.01  // of MBL
	zeroSum    = 2.591 // standard deviations; chart.DesignCusum for 8.4e7 judgements
	zeroEvery  = 15    // seconds
	zeroOff    = 0.02  // of MBL
	zeroSoon   = 30    // seconds, where the line seemed to part and the ship did not answer
	riseLeast  = 0.01  // of MBL a metre, least that a pin must feel of a rise to speak of it
	riseVoices = 5
	// The plan's stiffnesses err by a third and more as lines stiffen under load:
	// of what the ship's way has put on a line, so much may be unexplained.
	zeroAstray = 0.4
	zeroFade   = 0.9967 // a second: over five minutes, as a Base that took it up gives it back
)

func zeroChart() chart.Cusum { return chart.Cusum{K: zeroFind / 2 / zeroSpread, H: zeroSum} }

// denied reports whether the line's load fell to nothing a while ago and the
// ship did not answer: the pin's doing.
func (p *part) denied(now moment) bool {
	return p.Denied != 0 && now.Tick-p.Denied < 2*zeroSoon*int64(perSecond)
}

// zero is the state of a pin's zero.
type zero struct {
	Base    float64 // what Fit.Base was when first trusted, m
	Way     float64 // how far the ship's way drew the line out then, m
	Went    float64 // how far that has gone since, of MBL; fades over minutes
	Age     float64 // Fit.Age then; a younger fit is a new beginning
	Shift   float64 // kN, smoothed over 10 s
	Sum     float64 // cumulative, of how far Shift is off, in standard deviations
	Since   int64   // when Sum was last 0
	Shifted bool
}

// zeros takes a second's step for every pin.
func (b *Berth) zeros(now moment) {
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		z, f := &l.Zero, &l.Fit
		if !f.Known || f.Age < grown {
			continue
		}
		if f.Age < z.Age || z.Age == 0 {
			*z = zero{Base: f.Base, Age: f.Age, Way: b.way(i)}
		}
		z.Went = max(z.Went*zeroFade, f.Stiff*math.Abs(b.way(i)-z.Way)/b.plan.Lines[i].MBLkN)
		z.Age = f.Age
		z.Shift += (b.shift(i) - z.Shift) / 10
	}
	rise := b.unreadRise()
	typical, went := b.typicalShift(rise)
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		z, mbl := &l.Zero, b.plan.Lines[i].MBLkN
		astray := zeroAstray * max(z.Went, went)
		if l.Part.denied(now) {
			astray = 0
		}
		if !l.Fit.Known || l.Slip.Up || b.upset(now) || l.Fit.Age < grown ||
			l.Pin.Last < slackest*mbl && !l.Part.denied(now) {
			z.Sum = 0
			continue
		}
		rose := math.Abs(rise*b.lift(i)) / mbl
		size := math.Abs(z.Shift-rise*b.lift(i)) / mbl
		switch {
		case size < zeroOff:
			z.Sum, z.Shifted = 0, false
		case now.Time/second%zeroEvery == 0:
			spread := max(zeroSpread, chart.MeanScale*l.Fit.Noise/mbl, chart.MADScale*typical)
			if z.Sum == 0 {
				z.Since = now.Time
			}
			var told bool
			z.Sum, told = zeroChart().Next(z.Sum, (size-astray-rose)/spread)
			z.Shifted = z.Shifted || told
		}
		b.weigh(ZeroShift, i, z.Sum, zeroSum)
	}
}

// shift is how far line i is from what the others say with the Base that was
// first trusted, kN.
func (b *Berth) shift(i int) float64 {
	l := &b.state.Lines[i]
	f := &l.Fit
	said := b.levers[i].load(f.Stretch+l.Zero.Base-f.Base, f.Load, f.Stretch, f.Stiff)
	return f.Off + f.Load - said
}

// unreadRise is the ship's rise in metres that the shifts of the pins, taken
// together, speak for: tide and cargo where nobody tells levels and drafts, or
// where the plan errs in what they do. It is the median of what each pin says, so
// that one pin's fault does not sway it.
func (b *Berth) unreadRise() float64 {
	var says [64]float64
	n := 0
	for i := range b.state.Lines {
		l, lift := &b.state.Lines[i], b.lift(i)
		if l.Fit.Known && n < len(says) && math.Abs(lift) > riseLeast*b.plan.Lines[i].MBLkN {
			says[n] = l.Zero.Shift / lift
			n++
		}
	}
	if n < riseVoices {
		return 0
	}
	return median(says[:n])
}

// typicalShift is the median magnitude of all pins' shifts, of MBL, and of how
// far the ship's way took their loads.
func (b *Berth) typicalShift(rise float64) (shift, went float64) {
	var sizes, ways [64]float64
	n := 0
	for i := range b.state.Lines {
		if l := &b.state.Lines[i]; l.Fit.Known && n < len(sizes) {
			sizes[n] = math.Abs(l.Zero.Shift-rise*b.lift(i)) / b.plan.Lines[i].MBLkN
			ways[n] = l.Zero.Went
			n++
		}
	}
	return median(sizes[:n]), median(ways[:n])
}
