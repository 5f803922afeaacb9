package detect

import "math"

// stiffnessRatio estimates how much stiffer or softer a line is than its law says:
// plans and makers' tables err by a third either way, and ropes bed in and wear. The
// stretch by the line's own load is regressed on the stretch expected from the other
// lines, both less their means of the last minute, by least squares with a forgetting
// factor of twenty minutes of observations. An observation is a second in which the
// ship stretches the line by 0.01 of MBL or more: smaller movements are lost in the
// pins' noise, which would bias every ratio low. The lines are compared with each
// other, so only their ratios to their mean can be known. Metres.
//
// Source: the method of least squares with a prior; the figures are common
// practice, no source.
type stiffnessRatio struct {
	Ratio                 float64 // metres by the line's load for a metre by the ship; about 1
	MeanOwn, MeanExpected float64 // stretch, means of the last minute, 0 for none
	Wait                  int32   // seconds observable before the means began
	XX, XY                float64 // weighted sums of squares and products
}

const (
	ratioMeanTau     = 60.0 // s
	ratioWait        = 6    // s; from when a line can be compared until the means begin
	ratioForgetting  = 1 - 1./1200
	ratioMinMove     = 0.01 // of MBL; least movement that is an observation
	ratioPriorSD     = 0.15 // how far plans err
	ratioFloorSD     = 0.04 // no line follows its law better than this
	ratioCorrelation = 10.0 // s; correlation time of the residuals
	ratioClip        = 0.5  // of a movement; the largest residual that counts
	ratioLimit       = 1.6  // the largest ratio, and the inverse of the smallest
)

// updateStiffnessRatios takes the second that ends here.
func (b *Berth) updateStiffnessRatios(now moment) {
	var mean, n float64
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		if b.ratioObservable(now, i) {
			l.Stiffness.update(&l.Fit, b.plan.Lines[i].MBLkN)
		} else {
			l.Stiffness.MeanOwn, l.Stiffness.MeanExpected, l.Stiffness.Wait = 0, 0, 0 // it may be made fast differently afterwards
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
			r := &l.Stiffness
			ratio := max(min(r.estimate(f, b.plan.Lines[i].MBLkN)*n/mean, ratioLimit), 1/ratioLimit)
			// the offsets make up for it, so that the loads stay that are expected now and
			// were when the pin's zero was trusted
			l.Zero.Offset += (r.Ratio - ratio) * (l.Zero.PosStretch + l.Zero.RiseStretch)
			f.Offset += (r.Ratio - ratio) * b.stretchFromShip(i)
			r.Ratio = ratio
		}
	}
}

// ratioObservable reports whether line i and the others are in order, so that they
// can be compared.
func (b *Berth) ratioObservable(now moment, i int) bool {
	l := &b.state.Lines[i]
	return l.Fit.Known && l.Fit.Weight > 0 && l.Fit.Age >= settledFitAge && !b.disturbed(now) && l.Parting.FirstTest == 0 &&
		now.Time-l.Pin.Still.Since < ratioCorrelation*second
}

// update takes a second's fit.
func (r *stiffnessRatio) update(f *lineFit, mbl float64) {
	expected := (f.ExpectedStretch - f.Offset) / r.Ratio
	if r.MeanOwn == 0 && r.MeanExpected == 0 {
		if r.Wait++; r.Wait < ratioWait { // a load is old yet after a gap of its pin
			return
		}
		r.MeanOwn, r.MeanExpected = f.Stretch, expected
	}
	r.MeanOwn += (f.Stretch - r.MeanOwn) / ratioMeanTau
	r.MeanExpected += (expected - r.MeanExpected) / ratioMeanTau
	x, y := expected-r.MeanExpected, f.Stretch-r.MeanOwn
	if math.Abs(x)*f.Stiffness < ratioMinMove*mbl {
		return
	}
	limit := ratioClip * math.Abs(x)
	y = r.Ratio*x + max(min(y-r.Ratio*x, limit), -limit)
	r.XX, r.XY = r.XX*ratioForgetting+x*x, r.XY*ratioForgetting+x*y
}

// estimate is the regression's slope with the prior of 1, give or take ratioPriorSD.
func (r *stiffnessRatio) estimate(f *lineFit, mbl float64) float64 {
	prior := ratioPrior(f, mbl)
	return (r.XY + prior) / (r.XX + prior)
}

// sd is the standard deviation of the estimate, at least ratioFloorSD.
func (r *stiffnessRatio) sd(f *lineFit, mbl float64) float64 {
	prior := ratioPrior(f, mbl)
	return max(ratioPriorSD*math.Sqrt(prior/(r.XX+prior)), ratioFloorSD)
}

// ratioPrior is the weight of the prior, as a sum of squares, m².
func ratioPrior(f *lineFit, mbl float64) float64 {
	noise := pinSD * mbl / f.Stiffness / ratioPriorSD
	return ratioCorrelation * noise * noise
}
