package detect

// foresight tells the ship's place some seconds ahead by what she has been seen
// to do: how she swings back from where she lies, how she goes on, and how the
// wind's push moves her. The weights are learnt by recursive least squares, whose
// past fades over some ten minutes. Source: the method of least squares; the
// figures are common practice, no source.
const (
	foreBack  = 4 // of each mode: off her usual place, and three stretches of her way
	foreWind  = 2 // the newest push and the one before
	foreMuch  = modes*foreBack + foreWind
	foreFades = 1 - 1./1200 // of the past, a lesson
	foreWide  = 1e3         // most that a weight may be unsure
	forePlace = 0.005       // m; what a place is worth
	forePush  = 12          // Pa; what a push is worth
	foreSlow  = 240         // lessons over which her usual place is taken
	roughKept = 96          // lessons, 48 s
	roughSkip = 14          // newest lessons passed over: the surprise itself is in them
)

type foresight struct {
	Weights [modes][foreMuch]float64
	Unsure  [foreMuch][foreMuch]float64
	Usual   [modes]float64
	Lessons float64
	// Rough is how far off the last lessons were, lateral, by what is usual: 1
	// where they were as usual.
	Rough [roughKept]float64
}

// rough is how much wilder than usual she went in the last while, 1 or more.
func (f *foresight) rough() float64 {
	var sum float64
	n := int64(f.Lessons)
	for k := int64(roughSkip); k < roughKept; k++ {
		sum += f.Rough[(n-k+roughKept)%roughKept]
	}
	return max(1, sum/(roughKept-roughSkip))
}

// looks are what the place is told from: at gives the place of n ticks ago.
func (f *foresight) looks(s sight, w *wind, at func(n int64) [modes]float64) (x [foreMuch]float64) {
	back := [foreBack]int64{s.ahead, s.ahead + 10, s.ahead + 30, s.ahead + 60}
	var place [foreBack][modes]float64
	for k, n := range back {
		for j := range s.span {
			q := at(n + j)
			for m := range modes {
				place[k][m] += q[m] / float64(s.span)
			}
		}
	}
	for m := range modes {
		x[m*foreBack] = (place[0][m] - f.Usual[m]) / forePlace
		for k := 1; k < foreBack; k++ {
			x[m*foreBack+k] = (place[k-1][m] - place[k][m]) / forePlace
		}
	}
	late, mid, early := w.pushes()
	x[modes*foreBack], x[modes*foreBack+1] = (late-early)/forePush, (mid-early)/forePush
	return x
}

// ahead is how far the ship goes from her last place used, by these looks.
func (f *foresight) ahead(x *[foreMuch]float64) (going [modes]float64) {
	for m := range modes {
		for k, v := range x {
			going[m] += f.Weights[m][k] * v * forePlace
		}
	}
	return going
}

// learn takes a lesson: with these looks she went so far, and was there.
func (f *foresight) learn(x *[foreMuch]float64, went, place [modes]float64) {
	if f.Lessons == 0 {
		for k := range f.Unsure {
			f.Unsure[k][k] = 1
		}
		f.Usual = place
	}
	f.Lessons++
	for m := range modes {
		f.Usual[m] += (place[m] - f.Usual[m]) / min(f.Lessons, foreSlow)
	}
	var px [foreMuch]float64
	scale := foreFades
	for i := range px {
		for j, v := range x {
			px[i] += f.Unsure[i][j] * v
		}
		scale += px[i] * x[i]
	}
	told := f.ahead(x)
	for m := range modes {
		e := (went[m] - told[m]) / forePlace / scale
		for k := range px {
			f.Weights[m][k] += px[k] * e
		}
	}
	f.forget(&px, scale)
}

// forget takes a lesson into how unsure the weights are and lets the past fade,
// but not beyond all bounds where she lies still and there is nothing to learn.
func (f *foresight) forget(px *[foreMuch]float64, scale float64) {
	var most float64
	for i := range px {
		for j := range px {
			f.Unsure[i][j] -= px[i] * px[j] / scale
		}
		most = max(most, f.Unsure[i][i])
	}
	if most >= foreWide {
		return
	}
	for i := range px {
		for j := range px {
			f.Unsure[i][j] /= foreFades
		}
	}
}
