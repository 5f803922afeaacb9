package detect

import "math"

// stepChange is a sudden loss of pull, as far as the innovations show one.
type stepChange struct {
	LLR   float64 // log-likelihood ratio (natural logarithm) against no change
	Share float64 // of the line's load
	Age   int     // steps since the loss
}

const (
	minChangeAge      = 3  // steps; the newest change that is tested
	changeAgeStride   = 2  // steps between the times that are tested
	maxNIS            = 20 // the largest that one step counts for in the inflation of the noise
	innovationDegrees = 15 // degrees of freedom: the tails of the innovations are heavier than normal
	minInnovations    = innovationWindow / 2
)

// pushAges are the times in steps for which a push may have been building up, longer than
// a change is looked for.
var pushAges = [...]int{responseSteps - 1, 32, 48}

// updateCov updates the covariance with the innovation of responseSteps ago. Newer
// ones may hold the change that is tested for.
func (in *innovations) updateCov(step int64) {
	e := in.History[(step-responseSteps+1)%historySteps]
	white, nis := e, 1.0
	l := in.factorise()
	l.whiten(&white)
	if in.Count >= 60 {
		nis = max(dot(&white, &white)/modes, 1e-9)
	}
	in.NIS[step%nisWindow] = min(nis, maxNIS)
	in.Count = min(in.Count+1, 1e6)
	k := min(1, outlierNIS/nis) / min(in.Count, innovationWindow)
	for p := range modes {
		for q := range p + 1 {
			in.Cov[p][q] += (e[p]*e[q] - in.Cov[p][q]) * k
		}
	}
}

// factorise returns the Cholesky factor of the covariance.
func (in *innovations) factorise() (l cholesky3) {
	const least = innovationFloor * innovationFloor / 9
	for p := range modes {
		for q := range p + 1 {
			v := in.Cov[p][q]
			if p == q {
				v += least
			}
			for k := range q {
				v -= l[p][k] * l[q][k]
			}
			if p == q {
				l[p][p] = math.Sqrt(max(v, least/4))
			} else {
				l[p][q] = v / l[q][q]
			}
		}
	}
	return l
}

// noiseInflation is the mean NIS of the last minute, at least 1: how far the ship
// moves more wildly than the covariance says.
func (in *innovations) noiseInflation() float64 {
	var sum float64
	for _, v := range in.NIS {
		sum += v
	}
	return max(1, sum/nisWindow)
}

// whitenedInnovations are the innovations kept, white, newest first, and the
// innovations that an acceleration of 1 m/s² in each mode causes, by steps since it
// began, m.
type whitenedInnovations struct {
	chol      cholesky3
	white     [historySteps][modes]float64
	response  [responseSteps][modes]float64
	inflation float64
}

// whitened returns the last innovations up to the step of this number. response is
// that of the tracker, by newStepResponse.
func (in *innovations) whitened(newest int64, response *[responseSteps]float64) (out whitenedInnovations) {
	out.chol, out.inflation = in.factorise(), in.noiseInflation()
	for k := range int64(historySteps) {
		out.white[k] = in.History[(newest-k)%historySteps]
		out.chol.whiten(&out.white[k])
	}
	for m := range modes {
		f := &in.Modes[m]
		for k := range out.response {
			v := response[k]
			for j := range min(k, arOrder) {
				v -= f.AR[j] * response[k-1-j]
			}
			out.response[k][m] = v * f.Coef[inputLines+m]
		}
	}
	return out
}

// signature is what an acceleration adds to the innovations, white, by steps since it began.
func (w *whitenedInnovations) signature(accel [modes]float64) (sig [responseSteps][modes]float64) {
	for k := range sig {
		for m := range modes {
			sig[k][m] = accel[m] * w.response[k][m]
		}
		w.chol.whiten(&sig[k])
	}
	return sig
}

// stepGLR is the generalised likelihood ratio test for the loss of a pull at an
// unknown time: the likeliest time and share of the pull lost, between least and
// most. accel is the acceleration by the loss of the whole pull, m/s².
//
// The variances are those of the covariance times the inflation of the last minute or,
// if it is more, of the innovations kept from before the loss: a gust or a swell begins
// before it is mistaken for one.
//
// The likelihoods are those of Student's t distribution instead of the normal.
// Source: textbooks of change detection.
func (w *whitenedInnovations) stepGLR(accel [modes]float64, least, most float64) (best stepChange) {
	sig := w.signature(accel)
	allSq := 0.0
	for k := range w.white {
		allSq += dot(&w.white[k], &w.white[k])
	}
	var sigSq, errSq float64 // sums of squares over the steps since the change
	for n := 1; n < responseSteps; n++ {
		sigSq += dot(&sig[n-1], &sig[n-1])
		errSq += dot(&w.white[n-1], &w.white[n-1])
		if n < minChangeAge || (n-minChangeAge)%changeAgeStride != 0 || sigSq == 0 {
			continue
		}
		cross := 0.0
		for k := range n {
			cross += dot(&sig[n-1-k], &w.white[k])
		}
		share := max(least, min(cross/sigSq, most))
		before := (allSq - errSq) / float64(modes*(historySteps-n))
		scale := innovationDegrees * max(w.inflation, before)
		restSq := max(0, errSq-2*share*cross+share*share*sigSq)
		llr := (innovationDegrees + float64(modes*n)) / 2 * math.Log((1+errSq/scale)/(1+restSq/scale))
		if llr > best.LLR {
			best = stepChange{llr, share, n}
		}
	}
	return best
}

// builtUp is how much likelier the innovations kept are by a push that has been building
// up at a steady rate, from any direction, than by this change, a share of accel: a
// log-likelihood ratio. A squall builds up, a loss does not.
func (w *whitenedInnovations) builtUp(accel [modes]float64, change stepChange) float64 {
	total := 0.0
	for k := range w.white {
		total += dot(&w.white[k], &w.white[k])
	}
	byPush := 0.0
	for _, age := range pushAges {
		byPush = max(byPush, w.explainedByPush(age))
	}
	scale := innovationDegrees * w.inflation
	return (innovationDegrees + modes*historySteps) / 2. * math.Log((scale+max(0, total-w.explainedByLoss(accel, change)))/(scale+max(0, total-byPush)))
}

// fitsLoss is how much of what a step change of any force would explain, as old as this
// change, this change explains, a share of accel: 1 where the ship was pushed just as the
// loss would push her. 0 where no step is explained.
func (w *whitenedInnovations) fitsLoss(accel [modes]float64, change stepChange) float64 {
	var step [historySteps][modes]float64
	for k := range change.Age {
		step[k] = w.response[change.Age-1-k]
	}
	free := w.explained(step[:change.Age])
	if free <= 0 {
		return 0
	}
	return w.explainedByLoss(accel, change) / free
}

// explainedByLoss is the sum of squares of the innovations kept that this change explains,
// a share of accel.
func (w *whitenedInnovations) explainedByLoss(accel [modes]float64, change stepChange) float64 {
	var cross, sq float64
	sig := w.signature(accel)
	for k := range change.Age {
		cross += dot(&sig[change.Age-1-k], &w.white[k])
		sq += dot(&sig[k], &sig[k])
	}
	return change.Share * (2*cross - change.Share*sq)
}

// explainedByPush is the sum of squares of the innovations kept that a push explains which
// began so many steps ago and has grown since.
func (w *whitenedInnovations) explainedByPush(age int) float64 {
	var built [responseSteps + 1][modes]float64 // response to a push that grows by 1 m/s² a step
	for k, r := range w.response {
		for m := range modes {
			built[k+1][m] = built[k][m] + r[m]
		}
	}
	var push [historySteps][modes]float64
	steps := min(age, historySteps)
	for k := range steps {
		push[k] = built[min(age-k, responseSteps)]
	}
	return w.explained(push[:steps])
}

// explained is the sum of squares of the newest innovations that a force of any direction
// explains, by least squares over its three modes. responses are those of each mode to
// 1 m/s², newest first.
func (w *whitenedInnovations) explained(responses [][modes]float64) float64 {
	var normal [modes][modes]float64
	var rhs [modes]float64
	for k := range responses {
		var by [modes][modes]float64 // white, by mode of the force
		for m := range modes {
			by[m][m] = responses[k][m]
			w.chol.whiten(&by[m])
		}
		for p := range modes {
			rhs[p] += dot(&by[p], &w.white[k])
			for q := range modes {
				normal[p][q] += dot(&by[p], &by[q])
			}
		}
	}
	inverse, ok := invert(&normal)
	if !ok {
		return 0
	}
	force := mulVec(&inverse, &rhs)
	return dot(&force, &rhs)
}
