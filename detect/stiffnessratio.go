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
type stiffnessRatio struct {
	Ratio                 float64 // learnt: metres by the line's load for a metre by the ship; about 1
	MeanOwn, MeanExpected float64 // means of the last minute, 0 for none
	XX, XY                float64 // faded sums
}

const (
	ratioMeanTau     = 60.0 // s
	ratioForgetting  = 1 - 1./1200
	ratioMinMove     = 0.01 // of MBL, least move that teaches
	ratioPriorSD     = 0.15 // how far plans err, one standard deviation
	ratioFloorSD     = 0.04 // no line answers more truly than this
	ratioCorrelation = 10.0 // s, over which what is unexplained is one and the same
	ratioClip        = 0.5  // of a move, most of what is unexplained that counts
	ratioLimit       = 1.6  // most that a ratio is believed, and the least is its inverse
)

// give learns from the second that ends here.
func (b *Berth) updateStiffnessRatios(now moment) {
	var mean, n float64
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		if b.ratioObservable(now, i) {
			l.Stiffness.update(&l.Fit, b.plan.Lines[i].MBLkN)
		} else {
			l.Stiffness.MeanOwn, l.Stiffness.MeanExpected = 0, 0 // it may be made fast otherwise by then
		}
		if l.Fit.Weight > 0 {
			mean += l.Stiffness.estimate(&l.Fit, b.plan.Lines[i].MBLkN)
			n++
		}
	}
	if n == 0 {
		return
	}
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		if f := &l.Fit; f.Weight > 0 {
			g := &l.Stiffness
			ratio := max(min(g.estimate(f, b.plan.Lines[i].MBLkN)*n/mean, ratioLimit), 1/ratioLimit)
			// what is expected now stays as it is
			by := (g.Ratio - ratio) * b.stretchFromShip(i)
			f.Offset, l.Zero.Offset, g.Ratio = f.Offset+by, l.Zero.Offset+by, ratio
		}
	}
}

// teaches reports whether line i's load is held against the others' word.
func (b *Berth) ratioObservable(now moment, i int) bool {
	l := &b.state.Lines[i]
	return l.Fit.Known && l.Fit.Weight > 0 && l.Fit.Age >= settledFitAge && !b.disturbed(now) && l.Parting.FirstTest == 0 &&
		now.Time-l.Pin.StillSince < ratioCorrelation*second
}

func (g *stiffnessRatio) update(f *lineFit, mbl float64) {
	word := (f.ExpectedStretch - f.Offset) / g.Ratio
	if g.MeanOwn == 0 && g.MeanExpected == 0 {
		g.MeanOwn, g.MeanExpected = f.Stretch, word
	}
	g.MeanOwn += (f.Stretch - g.MeanOwn) / ratioMeanTau
	g.MeanExpected += (word - g.MeanExpected) / ratioMeanTau
	x, y := word-g.MeanExpected, f.Stretch-g.MeanOwn
	if math.Abs(x)*f.Stiffness < ratioMinMove*mbl {
		return
	}
	most := ratioClip * math.Abs(x)
	y = g.Ratio*x + max(min(y-g.Ratio*x, most), -most)
	g.XX, g.XY = g.XX*ratioForgetting+x*x, g.XY*ratioForgetting+x*y
}

// ratio is that of the sums with what is known before any lesson: 1, give or take
// givingDoubt.
func (g *stiffnessRatio) estimate(f *lineFit, mbl float64) float64 {
	prior := ratioPrior(f, mbl)
	return (g.XY + prior) / (g.XX + prior)
}

// doubt is how far the ratio may err, one standard deviation, by the lessons; no
// law is true to better than givingTrue.
func (g *stiffnessRatio) sd(f *lineFit, mbl float64) float64 {
	prior := ratioPrior(f, mbl)
	return max(ratioPriorSD*math.Sqrt(prior/(g.XX+prior)), ratioFloorSD)
}

// givingPrior is what is known before any lesson, in lessons' squares.
func ratioPrior(f *lineFit, mbl float64) float64 {
	noise := pinSD * mbl / f.Stiffness / ratioPriorSD
	return ratioCorrelation * noise * noise
}
