package detect

import "math"

// zero watches how far a pin has come from what the other lines say since the
// line was made fast. A jump or a slow drift that the ship's motion, tide and
// drafts do not explain, and no drum paid out for, is the pin's: a real change
// of one line's load moves the ship and shows in the others. Shifted at 0.045
// of MBL for 90 s where the others keep together; well again under 0.02.
const (
	zeroOn     = 0.045
	zeroOff    = 0.02
	zeroHold   = 90   // seconds
	zeroSoon   = 30   // seconds, where the line seemed to part and the ship did not answer
	riseLeast  = 0.01 // of MBL a metre, least that a pin must feel of a rise to speak of it
	riseVoices = 5
	zeroAloof  = 3 // times the others' middling shift
	// The plan's stiffnesses err by a third and more as lines stiffen under load:
	// of what the ship's way has put on a line, so much may be unexplained.
	zeroAstray = 0.4
	zeroFade   = 0.9967 // a second: over five minutes, as a Base that took it up gives it back
)

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
	Seconds int32   // that Shift has been too large
	Since   int64
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
		hold, astray := int32(zeroHold), zeroAstray*max(z.Went, went)
		if l.Part.denied(now) {
			hold, astray = zeroSoon, 0
		}
		if !l.Fit.Known || l.Slip.Up || b.upset(now) || l.Fit.Age < grown ||
			l.Pin.Last < slackest*mbl && !l.Part.denied(now) {
			z.Seconds = 0
			continue
		}
		size := math.Abs(z.Shift-rise*b.lift(i)) / mbl
		astray += math.Abs(rise*b.lift(i)) / mbl
		b.weigh(ZeroShift, i, size*mbl, max((zeroOn+astray)*mbl, zeroAloof*typical*mbl, 3*l.Fit.Noise))
		switch {
		case size >= zeroOn+astray && size >= zeroAloof*typical && size*mbl >= 3*l.Fit.Noise:
			if z.Seconds == 0 {
				z.Since = now.Time
			}
			if z.Seconds++; z.Seconds >= hold {
				z.Shifted = true
			}
		case size < zeroOff:
			z.Seconds, z.Shifted = 0, false
		default:
			z.Seconds = 0
		}
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
