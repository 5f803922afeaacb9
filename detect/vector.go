package detect

import "math"

// dot is the inner product.
func dot(a, b *[modes]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// mulVec is a·v.
func mulVec(a *[modes][modes]float64, v *[modes]float64) [modes]float64 {
	return [modes]float64{dot(&a[0], v), dot(&a[1], v), dot(&a[2], v)}
}

// invert a symmetric matrix by its cofactors; ok is false where it has no inverse.
func invert(a *[modes][modes]float64) (inv [modes][modes]float64, ok bool) {
	c00 := a[1][1]*a[2][2] - a[1][2]*a[1][2]
	c01 := a[0][2]*a[1][2] - a[0][1]*a[2][2]
	c02 := a[0][1]*a[1][2] - a[0][2]*a[1][1]
	det := a[0][0]*c00 + a[0][1]*c01 + a[0][2]*c02
	if !(det > 0) || math.IsInf(det, 0) {
		return inv, false
	}
	inv[0] = [modes]float64{c00, c01, c02}
	inv[1] = [modes]float64{c01, a[0][0]*a[2][2] - a[0][2]*a[0][2], a[0][1]*a[0][2] - a[0][0]*a[1][2]}
	inv[2] = [modes]float64{c02, inv[1][2], a[0][0]*a[1][1] - a[0][1]*a[0][1]}
	for p := range modes {
		for q := range modes {
			inv[p][q] /= det
		}
	}
	return inv, true
}
