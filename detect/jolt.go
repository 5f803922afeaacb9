package detect

import "math"

// jolt is a pull of a line lost at a look, held against her swerves since: how
// likely, how much of the line's load, how many looks ago.
type jolt struct {
	Odds   float64 // natural logarithm
	Amount float64
	Looks  int
}

const (
	joltNear  = 3  // looks, the fewest since it
	joltStep  = 2  // looks between the times that are tried
	joltWild  = 20 // times the usual size, most that a look counts as rough
	joltFree  = 15 // degrees of freedom of swerves: they are not Gaussian far out
	leastSeen = swerveFades / 2
)

// swerveFactor is the Cholesky factor of the covariance of swerves.
type swerveFactor [modes][modes]float64

// weighUp takes the swerve of swerveFar looks ago into what is usual; nearer ones
// are what may be judged.
func (s *Swerves) weighUp(look int64) {
	off := s.Kept[(look-swerveFar+1)%looksKept]
	white, size := off, 1.0
	l := s.factored()
	l.white(&white)
	if s.Lessons >= 60 {
		size = max(dot(&white, &white)/modes, 1e-9)
	}
	s.Rough[look%roughKept] = min(size, joltWild)
	s.Lessons = min(s.Lessons+1, 1e6)
	k := min(1, surpriseWild/size) / min(s.Lessons, swerveFades)
	for p := range modes {
		for q := range p + 1 {
			s.Cov[p][q] += (off[p]*off[q] - s.Cov[p][q]) * k
		}
	}
}

// factored makes the factor of the covariance.
func (s *Swerves) factored() (l swerveFactor) {
	const least = swerveLeast * swerveLeast / 9
	for p := range modes {
		for q := range p + 1 {
			v := s.Cov[p][q]
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

// white makes a swerve that is usual white of size 1.
func (l *swerveFactor) white(x *[modes]float64) {
	for p := range x {
		for k := range p {
			x[p] -= l[p][k] * x[k]
		}
		x[p] /= l[p][p]
	}
}

// rough is how much wilder than usual she went in the last minute, 1 or more.
func (s *Swerves) rough() float64 {
	var sum float64
	for _, v := range s.Rough {
		sum += v
	}
	return max(1, sum/roughKept)
}

// swerved is what is held against every unseen line: white swerves, the newest
// first, and what a push of 1 m/s² in a mode makes of them, look by look.
type swerved struct {
	factor swerveFactor
	white  [swerveFar][modes]float64
	answer [swerveFar][modes]float64
	rough  float64
}

// since makes it; newest is the number of the newest look.
func (s *Swerves) since(newest int64, answer *[swerveFar]float64) (out swerved) {
	out.factor, out.rough = s.factored(), s.rough()
	for k := range int64(swerveFar) {
		out.white[k] = s.Kept[(newest-k)%looksKept]
		out.factor.white(&out.white[k])
	}
	for m := range modes {
		h := &s.Modes[m]
		for k := range out.answer {
			v := answer[k]
			for e := range min(k, echoes) {
				v -= h.Echo[e] * answer[k-1-e]
			}
			out.answer[k][m] = v * h.Worth[swayLines+m]
		}
	}
	return out
}

// jolted is the likeliest jolt by a loss of pull that would push her with these
// accelerations, m/s², had the line its likely load. The pull lost is between
// least and most of it.
//
// The odds are those of the likelihood ratio of a step of unknown size and time
// (generalised likelihood ratio), of Student's t in place of the normal
// distribution. Source: textbooks of change detection.
func (w *swerved) jolted(push [modes]float64, least, most float64) (best jolt) {
	var mark [swerveFar][modes]float64
	for k := range mark {
		for m := range modes {
			mark[k][m] = push[m] * w.answer[k][m]
		}
		w.factor.white(&mark[k])
	}
	var marks, all float64 // sums of squares over the looks since
	for n := 1; n < swerveFar; n++ {
		marks += dot(&mark[n-1], &mark[n-1])
		all += dot(&w.white[n-1], &w.white[n-1])
		if n < joltNear || (n-joltNear)%joltStep != 0 || marks == 0 {
			continue
		}
		both := 0.0
		for k := range n {
			both += dot(&mark[n-1-k], &w.white[k])
		}
		amount := max(least, min(both/marks, most))
		usual := joltFree * w.rough
		some := max(0, all-2*amount*both+amount*amount*marks)
		odds := (joltFree + float64(modes*n)) / 2 * math.Log((1+all/usual)/(1+some/usual))
		if odds > best.Odds {
			best = jolt{odds, amount, n}
		}
	}
	return best
}
