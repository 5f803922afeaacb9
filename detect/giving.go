package detect

import "math"

// giving learns how much further, or less far, a line goes than its law says when
// the ship draws it out: plans and makers' tables err by a third either way, and
// ropes set and wear. What the line's load says is held against what the other
// lines say, both less their means of the last minute, and the ratio is found by
// least squares whose past fades over twenty minutes of lessons. A lesson is a
// second in which the ship draws the line by 0.01 of MBL or more: smaller moves
// drown in the pins' noise, which would pull every ratio down. The lines are held
// against each other, so only their ratios to their mean can be known. Metres.
// Source: the method of least squares with a prior; the figures are common
// practice, no source.
type giving struct {
	Ratio     float64 // learnt: metres by the line's load for a metre by the ship; about 1
	Own, Word float64 // means of the last minute, 0 for none
	XX, XY    float64 // faded sums
}

const (
	givingMean   = 60.0 // s
	givingFades  = 1 - 1./1200
	givingLeast  = 0.01 // of MBL, least move that teaches
	givingDoubt  = 0.15 // how far plans err, one standard deviation
	givingTrue   = 0.04 // no line answers more truly than this
	givingSpell  = 10.0 // s, over which what is unexplained is one and the same
	givingRogue  = 0.5  // of a move, most of what is unexplained that counts
	givingAstray = 1.6  // most that a ratio is believed, and the least is its inverse
)

// give learns from the second that ends here.
func (b *Berth) give(now moment) {
	var mean, n float64
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		if b.teaches(now, i) {
			l.Giving.learn(&l.Fit, b.plan.Lines[i].MBLkN)
		} else {
			l.Giving.Own, l.Giving.Word = 0, 0 // it may be made fast otherwise by then
		}
		if l.Fit.Weight > 0 {
			mean += l.Giving.ratio(&l.Fit, b.plan.Lines[i].MBLkN)
			n++
		}
	}
	if n == 0 {
		return
	}
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		if f := &l.Fit; f.Weight > 0 {
			g := &l.Giving
			ratio := max(min(g.ratio(f, b.plan.Lines[i].MBLkN)*n/mean, givingAstray), 1/givingAstray)
			// what is expected now stays as it is
			by := (g.Ratio - ratio) * b.way(i)
			f.Base, l.Zero.Base, g.Ratio = f.Base+by, l.Zero.Base+by, ratio
		}
	}
}

// teaches reports whether line i's load is held against the others' word.
func (b *Berth) teaches(now moment, i int) bool {
	l := &b.state.Lines[i]
	return l.Fit.Known && l.Fit.Weight > 0 && l.Fit.Age >= grown && !b.upset(now) && l.Part.Since == 0 &&
		now.Time-l.Pin.StillSince < givingSpell*second
}

func (g *giving) learn(f *fitted, mbl float64) {
	word := (f.Said - f.Base) / g.Ratio
	if g.Own == 0 && g.Word == 0 {
		g.Own, g.Word = f.Stretch, word
	}
	g.Own += (f.Stretch - g.Own) / givingMean
	g.Word += (word - g.Word) / givingMean
	x, y := word-g.Word, f.Stretch-g.Own
	if math.Abs(x)*f.Stiff < givingLeast*mbl {
		return
	}
	most := givingRogue * math.Abs(x)
	y = g.Ratio*x + max(min(y-g.Ratio*x, most), -most)
	g.XX, g.XY = g.XX*givingFades+x*x, g.XY*givingFades+x*y
}

// ratio is that of the sums with what is known before any lesson: 1, give or take
// givingDoubt.
func (g *giving) ratio(f *fitted, mbl float64) float64 {
	prior := givingPrior(f, mbl)
	return (g.XY + prior) / (g.XX + prior)
}

// doubt is how far the ratio may err, one standard deviation, by the lessons; no
// law is true to better than givingTrue.
func (g *giving) doubt(f *fitted, mbl float64) float64 {
	prior := givingPrior(f, mbl)
	return max(givingDoubt*math.Sqrt(prior/(g.XX+prior)), givingTrue)
}

// givingPrior is what is known before any lesson, in lessons' squares.
func givingPrior(f *fitted, mbl float64) float64 {
	noise := sureOf * mbl / f.Stiff / givingDoubt
	return givingSpell * noise * noise
}
