package detect

import "math"

// workingRange is where the predictor learnt its coefficients: the mean and variance
// of position and wind force over the last ten minutes. Outside it the predictions
// extrapolate. A squall that lifts a ship off her fenders takes away a stiffness that
// the coefficients hold, and she then moves as if a line had let go. The further
// outside a prediction began, the less its errors count (see inflation).
//
// The newest steps, whose errors are tested, are left out. Surge is not looked at:
// fenders do not hold it. Source: the leverage of an observation outside the sample,
// as in textbooks of regression; the figures are common practice, no source.
type workingRange struct {
	Mean, Var [rangeDim]float64
	Count     float64
	Distance  [historySteps]float64 // by step, standard deviations
}

const (
	rangeDim        = 2 * modes // position, wind force
	rangeWindow     = 1200      // steps
	rangeSDs        = 2         // standard deviations within which nothing is extrapolated
	rangePosFloor   = 0.01      // m; least standard deviation
	rangeForceFloor = 1e-4      // m/s²
)

// update takes the step of this number and the one maxHorizon steps before it.
func (r *workingRange) update(step int64, now, old *[rangeDim]float64) {
	r.Count = min(r.Count+1, rangeWindow)
	farthest := 0.0
	for k := range r.Mean {
		d := old[k] - r.Mean[k]
		r.Mean[k] += d / r.Count
		r.Var[k] += (d*d - r.Var[k]) / r.Count
		if k == 0 {
			continue
		}
		floor := rangePosFloor
		if k >= modes {
			floor = rangeForceFloor
		}
		farthest = max(farthest, math.Abs(now[k]-r.Mean[k])/(math.Sqrt(r.Var[k])+floor))
	}
	r.Distance[step%historySteps] = farthest
}

// inflation is how many times larger the variance of a prediction is to be taken that
// began with the step of this number, at least 1.
func (r *workingRange) inflation(step int64) float64 {
	over := max(1, r.Distance[step%historySteps]/rangeSDs)
	return over * over
}

// inRange are the figures of a step that the working range is about.
func (pr *predictor) inRange(step int64) (v [rangeDim]float64) {
	at := &pr.History[step%historySteps]
	for m := range modes {
		v[m] = at.Pos[m]
		v[modes+m] = (at.Forcing[forceLaggedWind][m] + at.Forcing[forceWind][m] +
			pr.MeanForcing[forceLaggedWind][m] + pr.MeanForcing[forceWind][m]) / 2
	}
	return v
}

// updateRange takes the newest step.
func (pr *predictor) updateRange() {
	if pr.Steps <= predictorWarmup+maxHorizon {
		return
	}
	now, old := pr.inRange(pr.Steps-1), pr.inRange(pr.Steps-1-maxHorizon)
	pr.Range.update(pr.Steps-1, &now, &old)
}
