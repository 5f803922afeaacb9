package detect

import "math"

// PredictionErrors holds the errors of the position predictions and their
// covariance. The errors from one base step, at all horizons and in all modes, are
// one vector. A lost pull makes its components grow together in a direction of
// their own, the line's signature; ordinary disturbances do not.
//
// The log-likelihood ratio of "pull lost" against "not lost" is that of Student's t
// distribution: a covariance estimated from n independent vectors of dimension p
// leaves n − p degrees of freedom. They are limited to maxDegrees, because the tails
// of a sea are heavier than normal.
//
// Source: the predictive distribution of a normal sample of unknown covariance, as
// in textbooks of multivariate statistics; the time between independent errors,
// 10 s, is common practice, no source.
//
// The type is exported because the snapshot's encoder skips embedded fields that
// are not.
type PredictionErrors struct {
	Errors    [horizonCount][historySteps][modes]float64 // m
	WindMoves [horizonCount][historySteps][modes]float64 // by the wind's change since the base step, as the plan has it, m
	Cov       [errorDim][errorDim]float64                // of Errors, m², lower half
	Count     float64                                    // vectors in Cov
	NIS       [nisWindow]float64                         // normalised error squared, mean 1 over the components
}

const (
	errorDim         = horizonCount * modes
	errorWindow      = 600    // steps over which the covariance is taken, five minutes
	outlierNIS       = 9      // NIS over which an update is down-weighted
	errorFloor       = 0.0005 // m; least standard deviation of a prediction
	maxDegrees       = 40     // degrees of freedom
	independentSteps = 20     // between independent errors
	nisWindow        = 120    // steps, a minute
	nisBefore        = 16     // steps before a base step
	minErrorCount    = 360    // steps from which the errors are tested, three minutes
)

// updateErrorCov updates the covariance with the errors of the newest base step
// whose horizons have all passed, and sets l to the factor of what it was before. It
// returns the logarithm of the density that those errors had by what was known before
// them, but for a constant; 0 while the covariance is not settled.
func (pr *predictor) updateErrorCov(l *cholesky) (logDensity float64) {
	if pr.Steps <= predictorWarmup+2*maxHorizon {
		return 0
	}
	pr.factorise(l)
	z := pr.errorsFrom(pr.Steps - 1 - maxHorizon)
	white, nis := z, 1.0
	l.whiten(&white)
	if pr.Count >= 2*errorDim {
		nis = max(dotFirst(&white, &white, errorDim)/errorDim, 1e-9)
	}
	pr.NIS[pr.Steps%nisWindow] = min(nis, 20)
	if pr.Count >= minErrorCount {
		logDensity = l.logDensity(nis * errorDim)
	}
	pr.Count = min(pr.Count+1, 1e6)
	k := min(1, outlierNIS/nis) / min(pr.Count, errorWindow)
	for p := range errorDim {
		for q := range p + 1 {
			pr.Cov[p][q] += (z[p]*z[q] - pr.Cov[p][q]) * k
		}
	}
	return logDensity
}

// errorsFrom is the vector of errors from a base step, nearest horizon first, m.
// Horizons that have not passed yet hold old values.
func (pr *predictor) errorsFrom(base int64) [errorDim]float64 {
	return vectorFrom(&pr.Errors, base)
}

// windMovesFrom is the vector of movements by the wind's change since a base step, as
// errorsFrom is of errors, m.
func (pr *predictor) windMovesFrom(base int64) [errorDim]float64 {
	return vectorFrom(&pr.WindMoves, base)
}

func vectorFrom(history *[horizonCount][historySteps][modes]float64, base int64) (z [errorDim]float64) {
	for s, h := range horizons {
		copy(z[s*modes:], history[s][(base+h)%historySteps][:])
	}
	return z
}

// factorise sets l to the Cholesky factor of the covariance.
func (pr *predictor) factorise(l *cholesky) {
	for p := range errorDim {
		for q := range p + 1 {
			v := pr.Cov[p][q]
			if p == q {
				v += errorFloor * errorFloor
			}
			for k := range q {
				v -= l[p][k] * l[q][k]
			}
			if p == q {
				l[p][p] = math.Sqrt(max(v, errorFloor*errorFloor/4))
			} else {
				l[p][q] = v / l[q][q]
			}
		}
	}
}

// signature is the prediction errors that a lost pull would cause, white: along, by
// surge, and across, by sway and yaw.
type signature struct{ along, across [errorDim]float64 }

// logLR is the logarithm of the generalised likelihood ratio that the first count
// horizons of the white errors z hold the signature, against that they do not. The
// share across is between least and most; along, any share up to most is allowed,
// because the ship rubs on her fenders. The variances of z are inflation times those
// of the covariance.
func (pr *predictor) logLR(z *[errorDim]float64, sig *signature, count int, least, most, inflation float64) float64 {
	n := count * modes
	ll, cc, lc := dotFirst(&sig.along, &sig.along, n), dotFirst(&sig.across, &sig.across, n), dotFirst(&sig.along, &sig.across, n)
	zl, zc := dotFirst(z, &sig.along, n), dotFirst(z, &sig.across, n)
	along, across := 1.0, 1.0
	for range 4 { // coordinate descent; the two shares are nearly uncorrelated
		if cc > 0 {
			across = max(least, min((zc-along*lc)/cc, most))
		}
		if ll > 0 {
			along = max(0, min((zl-across*lc)/ll, most))
		}
	}
	errSq := dotFirst(z, z, n)
	restSq := errSq - 2*(along*zl+across*zc) + along*along*ll + across*across*cc + 2*along*across*lc
	degrees := pr.degrees()
	scale := degrees * inflation
	return (degrees + float64(n)) / 2 * math.Log((1+errSq/scale)/(1+max(restSq, 0)/scale))
}

// degrees are those of freedom of the errors' covariance.
func (pr *predictor) degrees() float64 {
	return max(4, min(pr.Count/independentSteps-errorDim, maxDegrees))
}

// forgive takes out of the first count horizons of the white vectors what an unknown share,
// of standard deviation sd, of the white movement w may have put there: they are white as
// before where sd²·w·wᵀ is added to the covariance.
func forgive(w *[errorDim]float64, count int, sd float64, vectors ...*[errorDim]float64) {
	n := count * modes
	sq := dotFirst(w, w, n)
	if sq == 0 {
		return
	}
	factor := (1 - 1/math.Sqrt(1+sd*sd*sq)) / sq
	for _, v := range vectors {
		share := factor * dotFirst(v, w, n)
		for k := range n {
			v[k] -= share * w[k]
		}
	}
}

// noiseInflation is the mean NIS of the last minute, at least 1. The newest are left
// out: they hold the errors that are tested.
func (pr *predictor) noiseInflation() float64 {
	var sum float64
	for k := int64(maxHorizon + 2); k < nisWindow; k++ {
		sum += pr.NIS[(pr.Steps-k+nisWindow)%nisWindow]
	}
	return max(1, sum/(nisWindow-maxHorizon-2))
}

// noiseInflationBefore is noiseInflation or, if it is more, the mean NIS of the errors
// that ended in the last 8 s before the base step of a horizon, in steps: a gust or a
// swell begins before it is mistaken for a loss of pull.
func (pr *predictor) noiseInflationBefore(horizon int64) float64 {
	var sum float64
	for k := horizon + 2; k < horizon+2+nisBefore; k++ {
		sum += pr.NIS[(pr.Steps-k+nisWindow)%nisWindow]
	}
	return max(pr.noiseInflation(), sum/nisBefore)
}

// lossSignature is the signature of the loss of a load of line i, kN, that many
// seconds (late) after the base step: ½·pull/mass·t². late includes the delay of the
// readings.
func (b *Berth) lossSignature(i int, load, late float64) (out signature) {
	accel := b.lossAccel(i, load)
	for s, h := range horizons {
		t := max(0, float64(h)*stepPeriod-late)
		for m := range modes {
			step := 0.5 * t * t * accel[m]
			if m == 0 {
				out.along[s*modes] = step
			} else {
				out.across[s*modes+m] = step
			}
		}
	}
	b.errorChol().whiten(&out.along)
	b.errorChol().whiten(&out.across)
	return out
}
