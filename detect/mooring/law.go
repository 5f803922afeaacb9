package mooring

import "math"

// curve is the load-elongation law of a material, T/MBL = soft*s + (1-soft)*s²
// with s the strain as a share of the strain at break: a line that stiffens as
// it is pulled where soft < 1, a straight one at 1. The square has an inverse in
// closed form; higher powers gain nothing while the figures below are this
// uncertain.
type curve struct {
	breakStrain float64
	soft        float64
}

// curves by material. The elongations at break are common practice, no source:
// trade figures for new rope, at the low (stiff) end of the handbooks' ranges
// because worked rope is stiffer. Mixed fibre is taken as half polyester, half
// polypropylene, and a little under the mean of the two. The shapes are
// common practice, no source: wire and high-modulus fibre nearly straight, the
// others bending up; polyamide's gives a slope of about 3.5 MBL at working
// loads, as in UFC 4-159-03 Table 6-8 (AE = 3.54 times break strength).
var curves = [...]curve{
	SteelWire:     {breakStrain: 0.02, soft: 0.9},
	HMPE:          {breakStrain: 0.035, soft: 0.8},
	Aramid:        {breakStrain: 0.04, soft: 0.8},
	Polyester:     {breakStrain: 0.12, soft: 0.5},
	Polyamide:     {breakStrain: 0.20, soft: 0.3},
	Polypropylene: {breakStrain: 0.20, soft: 0.4},
	Polyolefin:    {breakStrain: 0.20, soft: 0.4},
	MixedFibre:    {breakStrain: 0.15, soft: 0.45},
}

// rope is a length of one material with its strength.
type rope struct {
	curve
	mblKN float64
}

// strain at a tension, and its slope per kN. Tension is not negative.
func (r *rope) strain(tensionKN float64) (strain, perKN float64) {
	share := tensionKN / r.mblKN
	root := math.Sqrt(r.soft*r.soft + 4*(1-r.soft)*share)
	return r.breakStrain * 2 * share / (r.soft + root), r.breakStrain / (r.mblKN * root)
}

// tension at a strain, which is not negative.
func (r *rope) tension(strain float64) float64 {
	s := strain / r.breakStrain
	return r.mblKN * s * (r.soft + (1-r.soft)*s)
}

// Law is a line's load from its stretch: main line and tail in series, from the
// drum or bitts over the fairlead to the hook. It pulls and never pushes. Sag,
// friction at the fairlead, set and the difference between slow and fast
// stretching are left out. Beyond the breaking load the curve goes on; who cares
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
	law := Law{main: rope{curves[l.Material], l.MBLkN}}
	if l.Tail != nil {
		law.tail = rope{curves[l.Tail.Material], l.Tail.MBLkN}
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
