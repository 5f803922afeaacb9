package detect

import "math"

// drift learns how well the ship's place can be told some seconds ahead from
// what she did before: the error's covariance is what a sudden pull must stand
// out of. Three ways of telling are kept, that she stays, that she goes on as she
// went and, for the farther sight, what foresight has learnt; the one that errs
// least is used.
type drift struct {
	Count float64
	Cov   [predictors][modes][modes]float64 // m²
	Fore  foresight                         // learnt for the farther sight only
}

const (
	predictors = 3
	driftEvery = 5 // ticks between lessons
)

// sight is how far ahead the place is told, in ticks.
type sight struct {
	span   int64   // over which places are averaged
	ahead  int64   // from the last place used to the place told
	slope  int64   // over which her speed is taken
	memory float64 // lessons that count
}

const (
	nearAhead, farAhead = 24, 50
	farTime             = 4.4 // s from a release to the middle of the last span, when it is looked for
)

// nearSight is for the verdict on a line that fell, farSight for a line that
// nobody sees.
func nearSight() sight { return sight{span: 5, ahead: nearAhead, slope: 10, memory: 240} }
func farSight() sight  { return sight{span: 8, ahead: farAhead, slope: 20, memory: 1200} }

// lessons takes a lesson for both sights from the present place.
func (b *Berth) lessons(now moment) {
	m := &b.state.Motion
	if m.Ticks < motionKept || now.Tick%driftEvery != 0 || b.upset(now) {
		return
	}
	for i := range b.state.Lines {
		if b.state.Lines[i].Part.Since != 0 {
			return
		}
	}
	m.Drift.learn(m, nearSight())
	m.Far.learn(m, farSight())
	m.foresee(&b.state.Wind)
}

func (d *drift) learn(m *motion, s sight) {
	d.Count = min(d.Count+1, s.memory)
	for k := range foreseen {
		e := m.strayed(s, k)
		for p := range modes {
			for q := range modes {
				d.Cov[k][p][q] += (e[p]*e[q] - d.Cov[k][p][q]) / d.Count
			}
		}
	}
}

// strayed is the mean place of the last span less what predictor k told.
func (m *motion) strayed(s sight, k int) [modes]float64 {
	return surprise(s, k, func(n int64) [modes]float64 { return *m.before(n) })
}

// surprise is as strayed, with the place of n ticks ago by at.
func surprise(s sight, k int, at func(n int64) [modes]float64) (e [modes]float64) {
	for n := range s.span {
		now, then, first := at(n), at(n+s.ahead), at(n+s.ahead+s.slope)
		for q := range modes {
			told := then[q]
			if k == 1 {
				told += (then[q] - first[q]) * float64(s.ahead) / float64(s.slope)
			}
			e[q] += (now[q] - told) / float64(s.span)
		}
	}
	return e
}

// foreseen is the predictor that is learnt.
const foreseen = 2

// foresee takes a lesson for the predictor that is learnt: first what it told is
// held against what is, then it learns.
func (m *motion) foresee(w *wind) {
	s, f := farSight(), &m.Far.Fore
	x := f.looks(s, w, func(n int64) [modes]float64 { return *m.before(n) })
	went, place := m.strayed(s, 0), *m.before(0)
	told := f.ahead(&x)
	if f.Lessons >= foreMuch {
		n := min(f.Lessons-foreMuch+1, s.memory)
		c := &m.Far.Cov[foreseen]
		off := [modes]float64{1: went[1] - told[1], 2: went[2] - told[2]}
		f.Rough[int64(f.Lessons)%roughKept] = m.Far.lateralSize(foreseen, &off) / 2
		for p := range modes {
			for q := range modes {
				c[p][q] += ((went[p]-told[p])*(went[q]-told[q]) - c[p][q]) / n
			}
		}
	}
	f.learn(&x, went, place)
}

// better is the predictor that errs least.
func (d *drift) better() int {
	trace := func(k int) float64 { return d.Cov[k][0][0] + d.Cov[k][1][1] + d.Cov[k][2][2] }
	best := 0
	if trace(1) < trace(0) {
		best = 1
	}
	if d.Fore.Lessons >= unseenTaught && trace(foreseen) < trace(best) {
		best = foreseen
	}
	return best
}

const finest = 1e-8 // m²; no place is told better than to 0.1 mm

// odds is the logarithm of the odds of a surprise that holds a move of step
// against one that does not, under predictor k.
func (d *drift) odds(k int, step, seen *[modes]float64) float64 {
	c := d.Cov[k]
	for q := range modes {
		c[q][q] += finest
	}
	inv, ok := invert(&c)
	if !ok {
		return 0
	}
	s := times(&inv, step)
	return dot(&s, seen) - dot(&s, step)/2
}

// lateralSize is the square of a lateral surprise by what is usual; its mean is 2.
func (d *drift) lateralSize(k int, seen *[modes]float64) float64 {
	a, c, e := d.Cov[k][1][1]+finest, d.Cov[k][1][2], d.Cov[k][2][2]+finest
	det := a*e - c*c
	if det <= 0 {
		return 0
	}
	return (e*seen[1]*seen[1] - 2*c*seen[1]*seen[2] + a*seen[2]*seen[2]) / det
}

// lateral is as odds, without surge and for the likeliest multiple of step,
// which it tells too.
func (d *drift) lateral(k int, step, seen *[modes]float64) (odds, size float64) {
	a, c, e := d.Cov[k][1][1]+finest, d.Cov[k][1][2], d.Cov[k][2][2]+finest
	det := a*e - c*c
	if det <= 0 {
		return 0, 0
	}
	s := [2]float64{(e*step[1] - c*step[2]) / det, (a*step[2] - c*step[1]) / det}
	is, im := s[0]*seen[1]+s[1]*seen[2], s[0]*step[1]+s[1]*step[2]
	if im <= 0 {
		return 0, 0
	}
	size = is / im
	return math.Abs(is) * size / 2, size
}
