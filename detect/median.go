package detect

import "slices"

// median of v, which it sorts; 0 for none.
func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
}

// median3 is the median of three.
func median3(a, b, c float64) float64 {
	return max(min(a, b), min(max(a, b), c))
}
