package detect

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Updates one by one give the batch solution, with the prior as rows of its own,
// weighted by the inverse of its variance.
func TestRLSUpdateIsLeastSquares(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	const noise, sd = 0.3, 0.5
	c, p, px := []float64{1, 0, 0.5}, make([]float64, 9), make([]float64, 3)
	var rows [][]float64
	var y, weight []float64
	for i, v := range c {
		row := make([]float64, 3)
		row[i] = 1
		rows, y, weight = append(rows, row), append(y, v), append(weight, 1/(sd*sd))
		p[i*3+i] = sd * sd
	}
	for range 40 {
		x := []float64{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}
		at := 0.8*x[0] - 0.4*x[1] + 0.1*x[2] + noise*r.NormFloat64()
		e := at
		for i := range x {
			e -= c[i] * x[i]
		}
		rlsUpdate(c, p, x, px, e, noise)
		rows, y, weight = append(rows, x), append(y, at), append(weight, 1/(noise*noise))
	}
	for i, want := range least(t, rows, y, weight) {
		if math.Abs(c[i]-want) > 1e-9 {
			t.Errorf("coefficient %d is %v, the batch has %v", i, c[i], want)
		}
	}
}

// By hand: 0.5 m/s² from rest makes 0.5·0.5·0.5² m in the first half second, and a
// filter of the third order has no steady-state error for a constant acceleration.
func TestTrackerFollowsAConstantAcceleration(t *testing.T) {
	if g := newStepResponse(); math.Abs(0.5*g[0]-0.0625) > 1e-12 {
		t.Errorf("error of %v m at first", 0.5*g[0])
	}
	var f tracker
	e := 0.0
	for k := range 600 {
		at := float64(k+1) * stepPeriod
		e = f.update(0.5*at*at/2, 0)
	}
	if math.Abs(e) > 1e-6 || math.Abs(f.Accel-0.5) > 1e-6 {
		t.Errorf("error of %v m after five minutes, acceleration %v", e, f.Accel)
	}
}

// By hand: white innovations of 2 over nine steps, and an acceleration that makes 2 in
// each, have 36 for the sum of squares over nine steps, and the likelihood ratio of
// Student's t with 15 degrees of freedom in 27 dimensions is (1 + 36/15)^((15 + 27)/2).
func TestStepGLR(t *testing.T) {
	w := whitenedInnovations{chol: cholesky3{{1}, {0, 1}, {0, 0, 1}}, inflation: 1}
	for k := range w.response {
		w.response[k] = [modes]float64{1, 0, 0}
		if k < 9 {
			w.white[k] = [modes]float64{2, 0, 0}
		}
	}
	got := w.stepGLR([modes]float64{2, 0, 0}, 0.4, 1.5)
	if want := 21 * math.Log(3.4); got.Age != 9 || math.Abs(got.Share-1) > 1e-12 || math.Abs(got.LLR-want) > 1e-9 {
		t.Errorf("%+v, want a log-likelihood ratio of %v nine steps ago", got, want)
	}
	if got := w.stepGLR([modes]float64{-2, 0, 0}, 0.4, 1.5); got.LLR != 0 {
		t.Errorf("an acceleration the other way is found: %+v", got)
	}
	// Innovations of 2 in one mode of three from before make the variances 4/3 as large.
	for k := 9; k < len(w.white); k++ {
		w.white[k] = [modes]float64{0, 2, 0}
	}
	got = w.stepGLR([modes]float64{2, 0, 0}, 0.4, 1.5)
	if want := 21 * math.Log(1+36/(15*4./3)); got.Age != 9 || math.Abs(got.LLR-want) > 1e-9 {
		t.Errorf("after wild seconds %+v, want a log-likelihood ratio of %v", got, want)
	}
}

// By hand: with a response of 1 a step, a push that grows by 1 m/s² a step for 24 steps
// makes 1 to 24, of squares 4900 in sum. A loss of 2 m/s² nine steps ago explains
// 2·2·(24 + 23 + … + 16) − 9·2² = 684 of them.
func TestPushThatBuildsUp(t *testing.T) {
	w := whitenedInnovations{chol: cholesky3{{1}, {0, 1}, {0, 0, 1}}, inflation: 1}
	for k := range w.response {
		w.response[k] = [modes]float64{1, 1, 1}
	}
	for k := range 24 {
		w.white[k] = [modes]float64{float64(24 - k), 0, 0}
	}
	loss := stepChange{Share: 1, Age: 9}
	got := w.builtUp([modes]float64{2, 0, 0}, loss)
	if want := (15 + 96) / 2. * math.Log((15+4900-684)/15.); math.Abs(got-want) > 1e-6 {
		t.Errorf("log-likelihood ratio %v of a push against a loss, want %v", got, want)
	}
	w.white = [historySteps][modes]float64{}
	for k := range 9 {
		w.white[k] = [modes]float64{2, 0, 0}
	}
	if got := w.builtUp([modes]float64{2, 0, 0}, loss); got > -20 {
		t.Errorf("a loss is taken for a push: %v", got)
	}
}
