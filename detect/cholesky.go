package detect

import "math"

// cholesky is the lower Cholesky factor of the covariance of the prediction errors.
type cholesky [errorDim][errorDim]float64

// whiten makes prediction errors white, of variance 1. The factor is triangular, so
// the first n components of the result depend on the first n only.
func (l *cholesky) whiten(x *[errorDim]float64) {
	for p := range x {
		for k := range p {
			x[p] -= l[p][k] * x[k]
		}
		x[p] /= l[p][p]
	}
}

// logDensity is the logarithm of the density of Student's t distribution of maxDegrees
// degrees of freedom at errors of this squared Mahalanobis distance, but for a constant.
func (l *cholesky) logDensity(sq float64) float64 {
	det := 1.0
	for p := range l {
		det *= l[p][p] / errorFloor
	}
	return -math.Log(det) - (maxDegrees+errorDim)/2.*math.Log1p(sq/maxDegrees)
}

// dotFirst is the inner product of the first n components.
func dotFirst(a, b *[errorDim]float64, n int) (sum float64) {
	for k := range n {
		sum += a[k] * b[k]
	}
	return sum
}

// cholesky3 is the lower Cholesky factor of the covariance of the innovations.
type cholesky3 [modes][modes]float64

// whiten makes an innovation white, of variance 1.
func (l *cholesky3) whiten(x *[modes]float64) {
	for p := range x {
		for k := range p {
			x[p] -= l[p][k] * x[k]
		}
		x[p] /= l[p][p]
	}
}
