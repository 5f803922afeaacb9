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
type Surprises struct {
	Off     [sightCount][looksKept][modes]float64 // m
	Cov     [joint][joint]float64                 // m², lower half
	Lessons float64
	// Rough is how large the last surprises were, by what is usual: 1 where they
	// were as usual.
	Rough [roughKept]float64
}

const (
	joint        = sightCount * modes
	surpriseKept = 600    // looks that count, five minutes
	surpriseWild = 9      // times the usual size, from which a lesson counts for less
	coarsest     = 0.0005 // m; no place is told better
	surpriseMost = 40
	independent  = 20  // looks between surprises that are
	roughKept    = 120 // looks, a minute
	taught       = 360 // lessons from which the surprises judge, three minutes
)

// factor is the Cholesky factor of the covariance of surprises.
type factor [joint][joint]float64

// weighUp takes the surprises of the newest base that all sights have seen into
// what is usual, and makes the factor to judge by.
func (f *foresight) weighUp(l *factor) {
	if f.Looks <= settleFor+2*furthest {
		return
	}
	f.factored(l)
	z := f.from(f.Looks - 1 - furthest)
	white, size := z, 1.0
	l.white(&white)
	if f.Lessons >= 2*joint {
		size = max(dotN(&white, &white, joint)/joint, 1e-9)
	}
	f.Rough[f.Looks%roughKept] = min(size, 20)
	f.Lessons = min(f.Lessons+1, 1e6)
	k := min(1, surpriseWild/size) / min(f.Lessons, surpriseKept)
	for p := range joint {
		for q := range p + 1 {
			f.Cov[p][q] += (z[p]*z[q] - f.Cov[p][q]) * k
		}
	}
}

// from is the surprises of a base, near to far; those that are yet to come are
// of no meaning.
func (f *foresight) from(base int64) (z [joint]float64) {
	for s, h := range sights {
		copy(z[s*modes:], f.Off[s][(base+h)%looksKept][:])
	}
	return z
}

// factored makes the factor of the covariance.
func (f *foresight) factored(l *factor) {
	for p := range joint {
		for q := range p + 1 {
			v := f.Cov[p][q]
			if p == q {
				v += coarsest * coarsest
			}
			for k := range q {
				v -= l[p][k] * l[q][k]
			}
			if p == q {
				l[p][p] = math.Sqrt(max(v, coarsest*coarsest/4))
			} else {
				l[p][q] = v / l[q][q]
			}
		}
	}
}

// white makes what is usual white of size 1. The first of it hang on nothing
// after them.
func (l *factor) white(x *[joint]float64) {
	for p := range x {
		for k := range p {
			x[p] -= l[p][k] * x[k]
		}
		x[p] /= l[p][p]
	}
}

func dotN(a, b *[joint]float64, n int) (sum float64) {
	for k := range n {
		sum += a[k] * b[k]
	}
	return sum
}

// tale is the surprises that a lost pull would make, white: along, in surge, and
// across, in sway and yaw.
type tale struct{ along, across [joint]float64 }

// odds is the logarithm of the odds that white surprises of the first count
// sights hold the tale at some size between least and most against that they
// hold nothing. Along, she may have gone anything from nothing to most of it: she
// rubs on her fenders.
func (f *foresight) odds(seen *[joint]float64, t *tale, count int, least, most float64) float64 {
	n := count * modes
	ll, cc, lc := dotN(&t.along, &t.along, n), dotN(&t.across, &t.across, n), dotN(&t.along, &t.across, n)
	sl, sc := dotN(seen, &t.along, n), dotN(seen, &t.across, n)
	along, across := 1.0, 1.0
	for range 4 { // by turns; two unknowns that are nearly at right angles
		if cc > 0 {
			across = max(least, min((sc-along*lc)/cc, most))
		}
		if ll > 0 {
			along = max(0, min((sl-across*lc)/ll, most))
		}
	}
	none := dotN(seen, seen, n)
	some := none - 2*(along*sl+across*sc) + along*along*ll + across*across*cc + 2*along*across*lc
	free := max(4, min(f.Lessons/independent-joint, surpriseMost))
	usual := free * f.rough()
	return (free + float64(n)) / 2 * math.Log((1+none/usual)/(1+max(some, 0)/usual))
}

// rough is how much wilder than usual she went in the last minute, 1 or more. The
// newest are passed over: what is judged is in them.
func (f *foresight) rough() float64 {
	var sum float64
	for k := int64(furthest + 2); k < roughKept; k++ {
		sum += f.Rough[(f.Looks-k+roughKept)%roughKept]
	}
	return max(1, sum/(roughKept-furthest-2))
}

// lost is the tale of the pull of load kN of line i lost some seconds after the
// base: half of the pull over the mass times the square of the time since. What
// the readings lag behind is in late.
func (b *Berth) lost(i int, load, late float64) (out tale) {
	mass := b.masses()
	for s, h := range sights {
		t := max(0, float64(h)*lookTime-late)
		for m := range modes {
			step := -0.5 * t * t * load * b.levers[i].Pull[m] / mass[m]
			if m == 0 {
				out.along[s*modes] = step
			} else {
				out.across[s*modes+m] = step
			}
		}
	}
	b.usual.white(&out.along)
	b.usual.white(&out.across)
	return out
}
