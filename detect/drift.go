package detect

import "math"

// drift learns how well the ship's place can be told some seconds ahead from
// what she did before: the error's covariance is what a sudden pull must stand
// out of. Two ways of telling are kept, that she stays and that she goes on as
// she went; the one that errs less is used.
type drift struct {
	Count float64
	Cov   [predictors][modes][modes]float64 // m²
}

const (
	predictors = 2
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
}

func (d *drift) learn(m *motion, s sight) {
	d.Count = min(d.Count+1, s.memory)
	for k := range predictors {
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

// better is the predictor that errs less.
func (d *drift) better() int {
	trace := func(k int) float64 { return d.Cov[k][0][0] + d.Cov[k][1][1] + d.Cov[k][2][2] }
	if trace(1) < trace(0) {
		return 1
	}
	return 0
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
