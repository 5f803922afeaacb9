package mooring

import "math"

// solve3 solves the symmetric, positive definite system K x = f by Cholesky's
// factors, false where K is not positive definite to within rounding. It is
// written out for three unknowns because it stands in the solver's inner loop,
// where gonum's general one allocates.
func solve3(k *[3][3]float64, f [3]float64) (x [3]float64, ok bool) {
	const least = 1e-12 // of the diagonal: what rounding leaves of a zero pivot
	var l [3][3]float64
	for i := range 3 {
		for j := range i + 1 {
			sum := k[i][j]
			for m := range j {
				sum -= l[i][m] * l[j][m]
			}
			if i != j {
				l[i][j] = sum / l[j][j]
				continue
			}
			if !(sum > least*k[i][i]) || math.IsInf(sum, 1) {
				return x, false
			}
			l[i][i] = math.Sqrt(sum)
		}
	}
	for i := range 3 {
		for m := range i {
			f[i] -= l[i][m] * f[m]
		}
		f[i] /= l[i][i]
	}
	for i := 2; i >= 0; i-- {
		for m := i + 1; m < 3; m++ {
			f[i] -= l[m][i] * f[m]
		}
		f[i] /= l[i][i]
	}
	return f, true
}
