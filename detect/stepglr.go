package detect

import "math"

// jolt is a pull of a line lost at a look, held against her swerves since: how
// likely, how much of the line's load, how many looks ago.
type stepChange struct {
	LLR   float64 // natural logarithm
	Share float64
	Age   int
}

const (
	minChangeAge      = 3  // looks, the fewest since it
	changeAgeStride   = 2  // looks between the times that are tried
	maxNIS            = 20 // times the usual size, most that a look counts as rough
	innovationDegrees = 15 // degrees of freedom of swerves: they are not Gaussian far out
	minInnovations    = innovationWindow / 2
)

// swerveFactor is the Cholesky factor of the covariance of swerves.
type cholesky3 [modes][modes]float64

// weighUp takes the swerve of swerveFar looks ago into what is usual; nearer ones
// are what may be judged.
func (s *innovations) updateCov(look int64) {
	off := s.History[(look-responseSteps+1)%historySteps]
	white, size := off, 1.0
	l := s.factorise()
	l.whiten(&white)
	if s.Count >= 60 {
		size = max(dot(&white, &white)/modes, 1e-9)
	}
	s.NIS[look%nisWindow] = min(size, maxNIS)
	s.Count = min(s.Count+1, 1e6)
	k := min(1, outlierNIS/size) / min(s.Count, innovationWindow)
	for p := range modes {
		for q := range p + 1 {
			s.Cov[p][q] += (off[p]*off[q] - s.Cov[p][q]) * k
		}
	}
}

// factored makes the factor of the covariance.
func (s *innovations) factorise() (l cholesky3) {
	const least = innovationFloor * innovationFloor / 9
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
func (l *cholesky3) whiten(x *[modes]float64) {
	for p := range x {
		for k := range p {
			x[p] -= l[p][k] * x[k]
		}
		x[p] /= l[p][p]
	}
}

// rough is how much wilder than usual she went in the last minute, 1 or more.
func (s *innovations) noiseInflation() float64 {
	var sum float64
	for _, v := range s.NIS {
		sum += v
	}
	return max(1, sum/nisWindow)
}

// swerved is what is held against every unseen line: white swerves, the newest
// first, and what a push of 1 m/s² in a mode makes of them, look by look.
type whitenedInnovations struct {
	chol      cholesky3
	white     [responseSteps][modes]float64
	response  [responseSteps][modes]float64
	inflation float64
}

// since makes it; newest is the number of the newest look.
func (s *innovations) whitened(newest int64, answer *[responseSteps]float64) (out whitenedInnovations) {
	out.chol, out.inflation = s.factorise(), s.noiseInflation()
	for k := range int64(responseSteps) {
		out.white[k] = s.History[(newest-k)%historySteps]
		out.chol.whiten(&out.white[k])
	}
	for m := range modes {
		h := &s.Modes[m]
		for k := range out.response {
			v := answer[k]
			for e := range min(k, arOrder) {
				v -= h.AR[e] * answer[k-1-e]
			}
			out.response[k][m] = v * h.Gain[inputLines+m]
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
func (w *whitenedInnovations) stepGLR(push [modes]float64, least, most float64) (best stepChange) {
	var mark [responseSteps][modes]float64
	for k := range mark {
		for m := range modes {
			mark[k][m] = push[m] * w.response[k][m]
		}
		w.chol.whiten(&mark[k])
	}
	var marks, all float64 // sums of squares over the looks since
	for n := 1; n < responseSteps; n++ {
		marks += dot(&mark[n-1], &mark[n-1])
		all += dot(&w.white[n-1], &w.white[n-1])
		if n < minChangeAge || (n-minChangeAge)%changeAgeStride != 0 || marks == 0 {
			continue
		}
		both := 0.0
		for k := range n {
			both += dot(&mark[n-1-k], &w.white[k])
		}
		amount := max(least, min(both/marks, most))
		usual := innovationDegrees * w.inflation
		some := max(0, all-2*amount*both+amount*amount*marks)
		odds := (innovationDegrees + float64(modes*n)) / 2 * math.Log((1+all/usual)/(1+some/usual))
		if odds > best.LLR {
			best = stepChange{odds, amount, n}
		}
	}
	return best
}
