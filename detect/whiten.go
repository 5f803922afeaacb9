package detect

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// durbinWhiten whitens the first rows of the columns by an autocovariance: each row
// less its prediction from those before, by its standard deviation. logDet is the
// logarithm of the determinant of the covariance. Source: the Levinson–Durbin
// recursion.
func durbinWhiten(cov []float64, columns [][]float64, rows int) (white [][]float64, logDet float64) {
	white = make([][]float64, len(columns))
	for k := range white {
		white[k] = make([]float64, rows)
	}
	coef, last := make([]float64, rows), make([]float64, rows)
	variance := cov[0]
	for t := range rows {
		logDet += math.Log(variance)
		scale := 1 / math.Sqrt(variance)
		for k, x := range columns {
			if t >= len(x) {
				continue
			}
			e := x[t]
			for j, c := range coef[:t] {
				e -= c * x[t-1-j]
			}
			white[k][t] = e * scale
		}
		if t+1 == rows {
			break
		}
		reflection := cov[t+1]
		for j, c := range coef[:t] {
			reflection -= c * cov[t-j]
		}
		reflection /= variance
		copy(last, coef[:t])
		for j := range t {
			coef[j] = last[j] - reflection*last[t-1-j]
		}
		coef[t] = reflection
		variance *= 1 - reflection*reflection
	}
	return white, logDet
}

// residualVariance is the variance of a white column y with the other columns
// regressed out.
func residualVariance(y []float64, columns [][]float64, priors []prior) float64 {
	v := inner(y, y) / float64(len(y))
	for range 2 { // the weight of the priors depends on the variance
		v = max(residualProduct(columns, priors, v)(y, y)*v/float64(len(y)), 1e-16)
	}
	return v
}

// residualProduct is the inner product of two columns, in units of a variance, after
// the other columns have been regressed out: least squares with normal priors.
func residualProduct(columns [][]float64, priors []prior, variance float64) func(x, y []float64) float64 {
	n := len(columns)
	normal := mat.NewSymDense(n, nil)
	for j := range n {
		for k := range j + 1 {
			v := inner(columns[j], columns[k]) / variance
			if j == k {
				v += 1 / (priors[j].sd * priors[j].sd)
			}
			normal.SetSym(j, k, v)
		}
	}
	var chol mat.Cholesky
	ok := chol.Factorize(normal)
	return func(x, y []float64) float64 {
		sum := inner(x, y) / variance
		if !ok {
			return sum
		}
		u, v, coef := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
		for k := range n {
			u.SetVec(k, inner(x, columns[k])/variance)
			v.SetVec(k, inner(y, columns[k])/variance)
		}
		if err := chol.SolveVecTo(coef, v); err != nil {
			return sum
		}
		return sum - mat.Dot(u, coef)
	}
}

// inner is the inner product of two columns.
func inner(x, y []float64) (sum float64) {
	for k, v := range x {
		sum += v * y[k]
	}
	return sum
}
