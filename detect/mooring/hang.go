package mooring

import "math"

// Between fairlead and hook a line hangs in a catenary: its own weight makes it
// longer than the straight run. Taut fibre hardly sags; a slack wire is held
// straight by nothing else. With T the pull along the run c, h of it level, and
// w the weight of a metre,
//
//	u = w c / 2T
//	l² = (c² - h²) + (h sinh(u)/u)²        the length that hangs
//
// which is the catenary of level pull T h/c, exact for a line that does not
// stretch (Irvine, Cable Structures, 1981, ch. 1, from memory). The stretch is
// that of T all along: the load differs by w times the height between the ends,
// under 1 kN. Main and tail of unlike weight are taken as the even weight that
// sags as much when taut. All this costs a ten-thousandth of MBL, against each
// metre having its own tension and weight. The part inboard lies on the deck.
// Water under a slack line and wind on it are left out.

// hung is a line's geometry and weight for one solution.
type hung struct {
	chordM, levelM float64 // the run, and its level part
	inboardM       float64
	mainM, tailM   float64 // unstretched
	weight         float64 // kN a metre between fairlead and hook
}

// heaviest is a bound of u, that a slack line's search does not set out from
// where numbers overflow.
const heaviest = 6.

// hung is the line at this unstretched length, which is finite, over a run.
func (l *Law) hung(s *Span, inboardM, unstretchedM float64) hung {
	h := hung{chordM: s.LengthM, levelM: s.LengthM * math.Sqrt(s.Unit.X*s.Unit.X+s.Unit.Y*s.Unit.Y), inboardM: inboardM}
	h.mainM, h.tailM = l.parts(unstretchedM)
	main, tail := gravity/1e3*l.main.kgPerM, gravity/1e3*l.tail.kgPerM
	out := max(h.mainM-inboardM, 0)
	length := out + h.tailM
	switch {
	case h.tailM == 0 || length == 0:
		h.weight = main
	case out == 0:
		h.weight = tail
	default:
		// What makes a taut line sag is how far the shear along it strays from its
		// mean; an even load of weight w strays by (w l)²/12.
		a, b := out/length, h.tailM/length
		wa, wb := out*main, h.tailM*tail
		mean := a*wa/2 + b*(wa+wb/2)
		square := a*wa*wa/3 + b*(wa*wa+wa*wb+wb*wb/3)
		h.weight = math.Sqrt(12*max(square-mean*mean, 0)) / length
	}
	return h
}

// arc is the length that hangs at a pull, its loss for each kN more, and its
// growth for each metre of run where the ends part on the level, times c/h.
func (h *hung) arc(tensionKN float64) (m, perKN, perM float64) {
	u := h.weight * h.chordM / (2 * tensionKN)
	square, slope := bulge(u)
	level2, c2 := h.levelM*h.levelM, h.chordM*h.chordM
	m = math.Sqrt(c2 - level2 + level2*square)
	perKN = -level2 * slope * u / (2 * m * tensionKN)
	perM = h.chordM / m * (square + slope*u*level2/(2*c2))
	return m, perKN, perM
}

// bulge is (sinh(u)/u)² and its slope. The series serves where the closed form
// loses digits.
func bulge(u float64) (square, slope float64) {
	if u < 0.25 {
		x := u * u
		square = 1 + x*(1./3+x*(2./45+x*(1./315+x*(2./14175+x*(2./467775)))))
		slope = u * (2./3 + x*(8./45+x*(6./315+x*(16./14175+x*(20./467775)))))
		return square, slope
	}
	e := math.Exp(u)
	q, cosh := (e-1/e)/2/u, (e+1/e)/2
	return q * q, 2 * q * (cosh - q) / u
}

// stretched is the line's stretched length at a load, and its growth per kN.
func (l *Law) stretched(h *hung, tensionKN float64) (m, perKN float64) {
	sm, dm := l.main.strain(tensionKN)
	m, perKN = h.mainM*(1+sm), h.mainM*dm
	if h.tailM > 0 {
		st, dt := l.tail.strain(tensionKN)
		m, perKN = m+h.tailM*(1+st), perKN+h.tailM*dt
	}
	return m, perKN
}

// hang is the pull along the run of a line of this unstretched length, and how
// much it grows for each metre by which the run grows, on the level, along
// itself. The near load is where to begin, 0 for nowhere.
func (l *Law) hang(s *Span, inboardM, unstretchedM, nearKN float64) (tensionKN, stiffness float64) {
	if math.IsInf(unstretchedM, 1) {
		return 0, 0
	}
	h := l.hung(s, inboardM, unstretchedM)
	if h.weight == 0 || h.levelM == 0 {
		t := l.TensionKN(s.LengthM+inboardM, unstretchedM)
		return t, l.StiffnessKNPerM(t, unstretchedM)
	}
	t := nearKN
	if !(t > 0) {
		t = l.start(&h)
	}
	// The length to spare grows with the load, ever more slowly, so that Newton's
	// steps rise to the root once they are below it.
	for range 60 {
		long, give := l.stretched(&h, t)
		arc, tighter, perM := h.arc(t)
		next := max(t-(long-inboardM-arc)/(give-tighter), t/8)
		step := math.Abs(next - t)
		t, stiffness = next, perM/(give-tighter)
		if step <= 1e-7*t { // the next would be the square of it
			break
		}
	}
	return t, stiffness
}

// start is a load to begin from, better below the root than above: the greater
// of what stretch alone and what sag alone would make it, each at its softest.
func (l *Law) start(h *hung) float64 {
	_, give := l.stretched(h, 0)
	sag := h.weight * h.weight * h.levelM * h.levelM * h.chordM / 24 // length times T²
	spare := h.mainM + h.tailM - h.inboardM - h.chordM
	t := math.Cbrt(sag / give)
	if spare > 0 {
		t = min(t, math.Sqrt(sag/spare))
	} else {
		t = max(t, -spare/give)
	}
	return max(t, h.weight*h.chordM/(2*heaviest))
}

// hungM is the unstretched length of a line that pulls with this load over a
// run: the inverse of hang. A load less than the line's own weight counts as
// that weight; how deep a line hangs that nobody heaves tight, no load tells.
func (l *Law) hungM(s *Span, inboardM, tensionKN float64) float64 {
	unstretched := l.UnstretchedM(tensionKN, s.LengthM+inboardM)
	for range 10 { // the weight goes with the length, a little
		h := l.hung(s, inboardM, unstretched)
		if h.weight == 0 || h.levelM == 0 {
			return unstretched
		}
		t := max(tensionKN, h.weight*h.chordM)
		arc, _, _ := h.arc(t)
		was := unstretched
		unstretched = l.UnstretchedM(t, arc+inboardM)
		if math.Abs(unstretched-was) <= 1e-13*unstretched {
			break
		}
	}
	return unstretched
}
