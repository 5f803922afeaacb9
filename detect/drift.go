package detect

// drift learns how well the ship's place can be told 2.4 s ahead from what she
// did before: the error's covariance is what a sudden pull must stand out of.
// Two ways of telling are kept, that she stays and that she goes on as she
// went; the one that errs less is used.
const (
	predictors  = 2
	driftAhead  = 24 // ticks from the last place used to the place told
	driftSlope  = 10 // ticks over which her speed is taken
	driftEvery  = 5  // ticks between lessons
	driftMemory = 240.0
)

type drift struct {
	Count float64
	Cov   [predictors][modes][modes]float64 // m²
}

// drift takes a lesson from the present place.
func (b *Berth) drift(now moment) {
	m := &b.state.Motion
	if m.Ticks < motionKept || now.Tick%driftEvery != 0 {
		return
	}
	for i := range b.state.Lines {
		p := &b.state.Lines[i].Part
		if p.Since != 0 || p.At != 0 && now.Tick-p.At < int64(10*perSecond) {
			return
		}
	}
	m.Drift.Count = min(m.Drift.Count+1, driftMemory)
	for k := range predictors {
		e := m.surprise(k, func(n int64) [modes]float64 { return *m.before(n) })
		for p := range modes {
			for q := range modes {
				m.Drift.Cov[k][p][q] += (e[p]*e[q] - m.Drift.Cov[k][p][q]) / m.Drift.Count
			}
		}
	}
}

// surprise is the mean place of the last half second less what predictor k
// told; at gives the place of n ticks ago.
func (m *motion) surprise(k int, at func(n int64) [modes]float64) (e [modes]float64) {
	for n := range int64(5) {
		now, then, first := at(n), at(n+driftAhead), at(n+driftAhead+driftSlope)
		for q := range modes {
			told := then[q]
			if k == 1 {
				told += (then[q] - first[q]) * driftAhead / driftSlope
			}
			e[q] += (now[q] - told) / 5
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

// odds is the logarithm of the odds of a surprise that holds a move of step
// against one that does not, under predictor k.
func (d *drift) odds(k int, step, seen *[modes]float64) float64 {
	c := d.Cov[k]
	for q := range modes {
		c[q][q] += 1e-8 // (0.1 mm)²: no fit is better
	}
	inv, ok := invert(&c)
	if !ok {
		return 0
	}
	s := times(&inv, step)
	return dot(&s, seen) - dot(&s, step)/2
}
