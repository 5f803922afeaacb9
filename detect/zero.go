package detect

import "math"

// zero watches how far a pin has come from what the other lines say since the
// line was made fast. A jump or a slow drift that the ship's motion, tide and
// drafts do not explain, and no drum paid out for, is the pin's: a real change
// of one line's load moves the ship and shows in the others. Shifted at 0.045
// of MBL for 30 s where the others keep together; well again under 0.02.
const (
	zeroOn    = 0.045
	zeroOff   = 0.02
	zeroHold  = 30 // seconds
	zeroAloof = 3  // times the others' middling shift
)

// denied reports whether the line's load fell to nothing a while ago and the
// ship did not answer: the pin's doing.
func (p *part) denied(now moment) bool {
	return p.Denied != 0 && now.Tick-p.Denied < 2*zeroHold*int64(perSecond)
}

// zero is the state of a pin's zero.
type zero struct {
	Base    float64 // what Fit.Base was when first trusted, kN
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
			*z = zero{Base: f.Base, Age: f.Age}
		}
		z.Age = f.Age
		z.Shift += (f.Off + f.Base - z.Base - z.Shift) / 10
	}
	typical := b.typicalShift()
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		z, mbl := &l.Zero, b.plan.Lines[i].MBLkN
		if !l.Fit.Known || l.Slip.Up || b.upset(now) || l.Fit.Age < grown ||
			l.Pin.Last < slackest*mbl && !l.Part.denied(now) {
			z.Seconds = 0
			z.Shifted = z.Shifted && l.Fit.Known
			continue
		}
		size := math.Abs(z.Shift) / mbl
		switch {
		case size >= zeroOn && size >= zeroAloof*typical && size*mbl >= 3*l.Fit.Noise:
			if z.Seconds == 0 {
				z.Since = now.Time
			}
			if z.Seconds++; z.Seconds >= zeroHold {
				z.Shifted = true
			}
		case size < zeroOff:
			z.Seconds, z.Shifted = 0, false
		default:
			z.Seconds = 0
		}
	}
}

// typicalShift is the median magnitude of all pins' shifts, of MBL.
func (b *Berth) typicalShift() float64 {
	var sizes [64]float64
	n := 0
	for i := range b.state.Lines {
		if l := &b.state.Lines[i]; l.Fit.Known && n < len(sizes) {
			sizes[n] = math.Abs(l.Zero.Shift) / b.plan.Lines[i].MBLkN
			n++
		}
	}
	return median(sizes[:n])
}
