package detect

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

func normals(rng *rand.Rand, n int) []float64 {
	out := make([]float64, n)
	for k := range out {
		out[k] = rng.NormFloat64()
	}
	return out
}

// Whitening by the recursion is whitening by the Cholesky factor of the whole
// covariance, and the logarithms sum to that of its determinant: gonum's.
func TestDurbinWhitenIsByCholesky(t *testing.T) {
	const rows = 60
	rng := rand.New(rand.NewPCG(3, 1))
	for _, n := range []noiseModel{{0, 0.003, 10}, {0.3, 0.1, 9}, {0.97, 0.9, 60}, {0.9, 0.03, 16}} {
		cov := make([]float64, rows)
		n.autocovariance(cov)
		whole := mat.NewSymDense(rows, nil)
		for j := range rows {
			for k := range j + 1 {
				whole.SetSym(j, k, cov[j-k])
			}
		}
		var root mat.Cholesky
		if !root.Factorize(whole) {
			t.Fatalf("%+v is no covariance", n)
		}
		var l mat.TriDense
		root.LTo(&l)
		x := normals(rng, rows)
		white, logs := durbinWhiten(cov, [][]float64{x}, rows)
		var want mat.VecDense
		if err := want.SolveVec(&l, mat.NewVecDense(rows, x)); err != nil {
			t.Fatal(err)
		}
		for k, v := range white[0] {
			if math.Abs(v-want.AtVec(k)) > 1e-6 {
				t.Fatalf("%+v row %d: %v, by Cholesky %v", n, k, v, want.AtVec(k))
			}
		}
		if math.Abs(logs-root.LogDet()) > 1e-6 {
			t.Errorf("%+v: log of the determinant %v, by Cholesky %v", n, logs, root.LogDet())
		}
	}
}

// The product of two columns after others with priors have been regressed out is their
// product by the inverse of variance·1 + Σ column·sd²·columnᵀ, computed whole by gonum.
func TestResidualProductIsByTheWholeCovariance(t *testing.T) {
	const rows, variance = 25, 0.7
	rng := rand.New(rand.NewPCG(5, 2))
	columns := [][]float64{normals(rng, rows), normals(rng, rows), normals(rng, rows)}
	priors := []prior{{0, 0.3}, {0, 2}, {0, 100}}
	whole := mat.NewSymDense(rows, nil)
	for j := range rows {
		for k := range j + 1 {
			v := 0.0
			if j == k {
				v = variance
			}
			for c, d := range priors {
				v += columns[c][j] * columns[c][k] * d.sd * d.sd
			}
			whole.SetSym(j, k, v)
		}
	}
	x, y := normals(rng, rows), normals(rng, rows)
	var by mat.VecDense
	if err := by.SolveVec(whole, mat.NewVecDense(rows, y)); err != nil {
		t.Fatal(err)
	}
	want := mat.Dot(mat.NewVecDense(rows, x), &by)
	if got := residualProduct(columns, priors, variance)(x, y); math.Abs(got-want) > 1e-9 {
		t.Errorf("product %v, by the whole covariance %v", got, want)
	}
}

// A sea's period is found in the noise of pins.
func TestPeakPeriodIsFound(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 3))
	for _, period := range []float64{6, 11, 17, 60} {
		column := normals(rng, 180)
		for k := range column {
			column[k] += 3 * math.Sin(2*math.Pi*float64(k)*spanSeconds/period)
		}
		if got := peakPeriod(column); math.Abs(got-period) > 0.08*period {
			t.Errorf("%v s, want %v", got, period)
		}
	}
}

// A step that is amended is amended in its own span.
func TestRecordAmendsTheSpanOfAStep(t *testing.T) {
	for last := int64(119); last < 119+spanTicks; last += stepTicks {
		var r motionRecord
		for tick := int64(stepTicks - 1); tick <= last; tick += stepTicks {
			r.add(&[modes]float64{}, &[forcings][modes]float64{}, spanEnds(tick))
		}
		now := moment{Tick: last}
		r.amend(now, 104, &[modes]float64{1, 2, 3})
		at := &r.Sum
		if n := (last+1)/spanTicks - 6; n >= 0 { // ticks 100 to 119 are span 6
			at = r.ago(n)
		}
		if n := (last + 1) / spanTicks; r.Count != n {
			t.Fatalf("%d spans by tick %d, want %d", r.Count, last, n)
		}
		for k, v := range [modes]float64{1, 2, 3} {
			if got := at.Forcing[forceLines][k]; got != v/spanSteps {
				t.Errorf("by tick %d: %v in mode %d, want %v", last, got, k, v/spanSteps)
			}
		}
	}
}

// Inner products of vectors that forgive an unknown share of w are those by the inverse of
// the covariance I + sd²·w·wᵀ, here gonum's; later horizons are left alone.
func TestForgive(t *testing.T) {
	const count, sd = 2, 0.7
	const n = count * modes
	r := rand.New(rand.NewPCG(7, 8))
	var w, u, v [errorDim]float64
	for k := range w {
		w[k], u[k], v[k] = r.NormFloat64(), r.NormFloat64(), r.NormFloat64()
	}
	cov := mat.NewSymDense(n, nil)
	for p := range n {
		for q := range p + 1 {
			cov.SetSym(p, q, sd*sd*w[p]*w[q])
		}
		cov.SetSym(p, p, 1+cov.At(p, p))
	}
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		t.Fatal("the covariance is not positive definite")
	}
	var solved mat.VecDense
	if err := chol.SolveVecTo(&solved, mat.NewVecDense(n, v[:n])); err != nil {
		t.Fatal(err)
	}
	want, last := mat.Dot(mat.NewVecDense(n, u[:n]), &solved), u[n]
	forgive(&w, count, sd, &u, &v)
	if got := dotFirst(&u, &v, n); math.Abs(got-want) > 1e-12 {
		t.Errorf("inner product %v, by the covariance %v", got, want)
	}
	if u[n] != last {
		t.Error("a later horizon has changed")
	}
	before := u
	if forgive(&[errorDim]float64{}, count, sd, &u); u != before {
		t.Error("no movement by the wind has changed a vector")
	}
}
