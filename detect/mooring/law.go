package mooring

import "math"

// Law is a line's load from its stretch: main line and tail in series, from the
// drum or bitts over the fairlead to the hook. It pulls and never pushes.
// Friction at the fairlead, set and the difference between slow and fast
// stretching are left out. Its own methods are those of a straight line; a Rig's
// lines hang by their weight. Beyond the breaking load the curve goes on; who cares
// compares with MBLkN. A Law is read-only and safe for concurrent use.
//
//	drum ──inboard──► fairlead ──outboard── main ──●── tail ──► hook
//	└───────────── unstretched length, at no load ────────────┘
type Law struct {
	main  rope
	tail  rope
	tailM float64 // at no load; 0 for no tail
}

// NewLaw is the law of line i of the plan.
func NewLaw(p *Plan, i int) Law {
	l := &p.Lines[i]
	law := Law{main: newRope(l.Material, l.MBLkN, l.DiameterMM, l.BreakStrain)}
	if l.Tail != nil {
		law.tail = newRope(l.Tail.Material, l.Tail.MBLkN, l.Tail.DiameterMM, l.Tail.BreakStrain)
		law.tailM = l.Tail.LengthM
	}
	return law
}

// parts are the lengths of main and tail in an unstretched length. The tail is
// never hauled in: a line no longer than its tail is all tail.
func (l *Law) parts(unstretchedM float64) (mainM, tailM float64) {
	tailM = min(l.tailM, unstretchedM)
	return unstretchedM - tailM, tailM
}

// TensionKN is the load of the line when its unstretched length is pulled to a
// stretched one, both from drum or bitts to hook, metres. An unstretched length
// of +Inf is a line that is not made fast: no load.
func (l *Law) TensionKN(stretchedM, unstretchedM float64) float64 {
	stretch := stretchedM - unstretchedM
	if !(stretch > 0) {
		return 0
	}
	mainM, tailM := l.parts(unstretchedM)
	switch {
	case tailM == 0:
		return l.main.tension(stretch / mainM)
	case mainM == 0:
		return l.tail.tension(stretch / tailM)
	}
	return l.seriesKN(stretch, mainM, tailM)
}

// seriesKN finds the tension at which main and tail together stretch this far.
// The stretch grows ever more slowly with tension, so Newton's steps from zero
// rise to the root and never pass it.
func (l *Law) seriesKN(stretch, mainM, tailM float64) float64 {
	var t float64
	for range 50 {
		sm, dm := l.main.strain(t)
		st, dt := l.tail.strain(t)
		step := (stretch - mainM*sm - tailM*st) / (mainM*dm + tailM*dt)
		t = max(0, t+step)
		if math.Abs(step) <= 1e-13*t {
			break
		}
	}
	return t
}

// StiffnessKNPerM is how much the load grows for each metre the line is drawn
// out, at this load and unstretched length. At no load it is the stiffness of a
// line just taut.
func (l *Law) StiffnessKNPerM(tensionKN, unstretchedM float64) float64 {
	if math.IsInf(unstretchedM, 1) {
		return 0
	}
	mainM, tailM := l.parts(unstretchedM)
	var give float64 // metres per kN
	if mainM > 0 {
		_, perKN := l.main.strain(tensionKN)
		give += mainM * perKN
	}
	if tailM > 0 {
		_, perKN := l.tail.strain(tensionKN)
		give += tailM * perKN
	}
	return 1 / give
}

// StretchM is how far a load, 0 kN or more, draws out a line of this unstretched
// length, which is finite, metres, and how much further for each kN more: the
// inverse of TensionKN and of StiffnessKNPerM.
func (l *Law) StretchM(tensionKN, unstretchedM float64) (stretchM, perKN float64) {
	mainM, tailM := l.parts(unstretchedM)
	if mainM > 0 {
		strain, per := l.main.strain(tensionKN)
		stretchM, perKN = mainM*strain, mainM*per
	}
	if tailM > 0 {
		strain, per := l.tail.strain(tensionKN)
		stretchM, perKN = stretchM+tailM*strain, perKN+tailM*per
	}
	return stretchM, perKN
}

// UnstretchedM is the unstretched length of a line that carries this load,
// 0 kN or more, over this length, drum or bitts to hook: the inverse of
// TensionKN.
func (l *Law) UnstretchedM(tensionKN, lengthM float64) float64 {
	sm, _ := l.main.strain(tensionKN)
	if l.tailM == 0 {
		return lengthM / (1 + sm)
	}
	st, _ := l.tail.strain(tensionKN)
	if stretchedTail := l.tailM * (1 + st); stretchedTail < lengthM {
		return l.tailM + (lengthM-stretchedTail)/(1+sm)
	}
	return lengthM / (1 + st)
}
