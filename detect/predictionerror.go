package detect

import "math"

// Surprises keeps how far off the ship's place was told, sight by sight, and how
// far that usually is. The surprises from one base, near and far, are taken
// together: their covariance is learnt over minutes, and what comes is held
// against it. A pull that is lost makes them go off together and ever further,
// along a line of its own in surge, sway and yaw; what usually strays does not.
//
// Of two tales, pull lost or not, the odds are those of Student's t: a covariance
// known from n independent surprises of dimension p leaves a surprise with n − p
// degrees of freedom, and no sea is Gaussian far out, so they never pass
// surpriseMost. Source: the predictive distribution of a normal sample of unknown
// covariance, as in textbooks of multivariate statistics; the time between
// surprises that are independent, 10 s, is common practice, no source. Exported
// for the snapshot's encoder only.
type PredictionErrors struct {
	Errors [horizonCount][historySteps][modes]float64 // m
	Cov    [errorDim][errorDim]float64                // m², lower half
	Count  float64
	// Rough is how large the last surprises were, by what is usual: 1 where they
	// were as usual.
	NIS [nisWindow]float64
}

const (
	errorDim         = horizonCount * modes
	errorWindow      = 600    // looks that count, five minutes
	outlierNIS       = 9      // times the usual size, from which a lesson counts for less
	errorFloor       = 0.0005 // m; no place is told better
	maxDegrees       = 40
	independentSteps = 20  // looks between surprises that are
	nisWindow        = 120 // looks, a minute
	minErrorCount    = 360 // lessons from which the surprises judge, three minutes
)

// factor is the Cholesky factor of the covariance of surprises.
type cholesky [errorDim][errorDim]float64

// weighUp takes the surprises of the newest base that all sights have seen into
// what is usual, and makes the factor to judge by.
func (f *predictor) updateErrorCov(l *cholesky) {
	if f.Steps <= predictorWarmup+2*maxHorizon {
		return
	}
	f.factorise(l)
	z := f.errorsFrom(f.Steps - 1 - maxHorizon)
	white, size := z, 1.0
	l.whiten(&white)
	if f.Count >= 2*errorDim {
		size = max(dotFirst(&white, &white, errorDim)/errorDim, 1e-9)
	}
	f.NIS[f.Steps%nisWindow] = min(size, 20)
	f.Count = min(f.Count+1, 1e6)
	k := min(1, outlierNIS/size) / min(f.Count, errorWindow)
	for p := range errorDim {
		for q := range p + 1 {
			f.Cov[p][q] += (z[p]*z[q] - f.Cov[p][q]) * k
		}
	}
}

// from is the surprises of a base, near to far; those that are yet to come are
// of no meaning.
func (f *predictor) errorsFrom(base int64) (z [errorDim]float64) {
	for s, h := range horizons {
		copy(z[s*modes:], f.Errors[s][(base+h)%historySteps][:])
	}
	return z
}

// factored makes the factor of the covariance.
func (f *predictor) factorise(l *cholesky) {
	for p := range errorDim {
		for q := range p + 1 {
			v := f.Cov[p][q]
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

// white makes what is usual white of size 1. The first of it hang on nothing
// after them.
func (l *cholesky) whiten(x *[errorDim]float64) {
	for p := range x {
		for k := range p {
			x[p] -= l[p][k] * x[k]
		}
		x[p] /= l[p][p]
	}
}

func dotFirst(a, b *[errorDim]float64, n int) (sum float64) {
	for k := range n {
		sum += a[k] * b[k]
	}
	return sum
}

// tale is the surprises that a lost pull would make, white: along, in surge, and
// across, in sway and yaw.
type signature struct{ along, across [errorDim]float64 }

// odds is the logarithm of the odds that white surprises of the first count
// sights hold the tale at some size between least and most against that they
// hold nothing. Along, she may have gone anything from nothing to most of it: she
// rubs on her fenders.
func (f *predictor) logLR(seen *[errorDim]float64, t *signature, count int, least, most float64) float64 {
	n := count * modes
	ll, cc, lc := dotFirst(&t.along, &t.along, n), dotFirst(&t.across, &t.across, n), dotFirst(&t.along, &t.across, n)
	sl, sc := dotFirst(seen, &t.along, n), dotFirst(seen, &t.across, n)
	along, across := 1.0, 1.0
	for range 4 { // by turns; two unknowns that are nearly at right angles
		if cc > 0 {
			across = max(least, min((sc-along*lc)/cc, most))
		}
		if ll > 0 {
			along = max(0, min((sl-across*lc)/ll, most))
		}
	}
	none := dotFirst(seen, seen, n)
	some := none - 2*(along*sl+across*sc) + along*along*ll + across*across*cc + 2*along*across*lc
	free := max(4, min(f.Count/independentSteps-errorDim, maxDegrees))
	usual := free * f.noiseInflation()
	return (free + float64(n)) / 2 * math.Log((1+none/usual)/(1+max(some, 0)/usual))
}

// rough is how much wilder than usual she went in the last minute, 1 or more. The
// newest are passed over: what is judged is in them.
func (f *predictor) noiseInflation() float64 {
	var sum float64
	for k := int64(maxHorizon + 2); k < nisWindow; k++ {
		sum += f.NIS[(f.Steps-k+nisWindow)%nisWindow]
	}
	return max(1, sum/(nisWindow-maxHorizon-2))
}

// lost is the tale of the pull of load kN of line i lost some seconds after the
// base: half of the pull over the mass times the square of the time since. What
// the readings lag behind is in late.
func (b *Berth) lossSignature(i int, load, late float64) (out signature) {
	mass := b.masses()
	for s, h := range horizons {
		t := max(0, float64(h)*stepPeriod-late)
		for m := range modes {
			step := -0.5 * t * t * load * b.models[i].Pull[m] / mass[m]
			if m == 0 {
				out.along[s*modes] = step
			} else {
				out.across[s*modes+m] = step
			}
		}
	}
	b.errorChol.whiten(&out.along)
	b.errorChol.whiten(&out.across)
	return out
}
