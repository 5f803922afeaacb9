package detect

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Lessons one by one are the batch solution with what was thought at first for
// rows of its own, weighed by the inverse of its variance.
func TestLessonsAreLeastSquares(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	const noise, doubt = 0.3, 0.5
	w, p, px := []float64{1, 0, 0.5}, make([]float64, 9), make([]float64, 3)
	var rows [][]float64
	var y, weight []float64
	for i, v := range w {
		row := make([]float64, 3)
		row[i] = 1
		rows, y, weight = append(rows, row), append(y, v), append(weight, 1/(doubt*doubt))
		p[i*3+i] = doubt * doubt
	}
	for range 40 {
		x := []float64{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}
		at := 0.8*x[0] - 0.4*x[1] + 0.1*x[2] + noise*r.NormFloat64()
		off := at
		for i := range x {
			off -= w[i] * x[i]
		}
		rlsUpdate(w, p, x, px, off, noise)
		rows, y, weight = append(rows, x), append(y, at), append(weight, 1/(noise*noise))
	}
	for i, want := range least(t, rows, y, weight) {
		if math.Abs(w[i]-want) > 1e-9 {
			t.Errorf("weight %d is %v, the batch has %v", i, w[i], want)
		}
	}
}

// By hand: half a metre a second squared begun at rest makes 0.5·0.5·0.5² m in the
// first half second, and a filter of the third order follows a steady acceleration
// without error in the end.
func TestFollowerFollowsASteadyPush(t *testing.T) {
	if g := newStepResponse(); math.Abs(0.5*g[0]-0.0625) > 1e-12 {
		t.Errorf("off by %v m at first", 0.5*g[0])
	}
	var f tracker
	off := 0.0
	for k := range 600 {
		at := float64(k+1) * stepPeriod
		off = f.update(0.5*at*at/2, 0)
	}
	if math.Abs(off) > 1e-6 || math.Abs(f.Accel-0.5) > 1e-6 {
		t.Errorf("off by %v m after five minutes, acceleration %v", off, f.Accel)
	}
}

// By hand: of white swerves that are 2 for nine looks, and a push that makes 2 in
// each, nine looks have 36 for the sum of squares, and the ratio of likelihoods of
// Student's t with 15 degrees of freedom in 27 dimensions is (1 + 36/15)^((15 + 27)/2).
func TestJoltIsFound(t *testing.T) {
	w := whitenedInnovations{chol: cholesky3{{1}, {0, 1}, {0, 0, 1}}, inflation: 1}
	for k := range w.response {
		w.response[k] = [modes]float64{1, 0, 0}
		if k < 9 {
			w.white[k] = [modes]float64{2, 0, 0}
		}
	}
	got := w.stepGLR([modes]float64{2, 0, 0}, 0.4, 1.5)
	if want := 21 * math.Log(3.4); got.Age != 9 || math.Abs(got.Share-1) > 1e-12 || math.Abs(got.LLR-want) > 1e-9 {
		t.Errorf("%+v, want odds of %v nine looks ago", got, want)
	}
	if got := w.stepGLR([modes]float64{-2, 0, 0}, 0.4, 1.5); got.LLR != 0 {
		t.Errorf("a push the other way is told: %+v", got)
	}
}
