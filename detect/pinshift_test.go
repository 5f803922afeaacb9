package detect

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

// A pin has no say in the rise that it is held against, and again one in the next pin's:
// the weighted median is gonum's quantile of the other pins alone.
func TestRiseWithoutAPin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 24).Draw(t, "pins")
		r := newUnseenRise(n)
		for i := range n {
			r.gain[i] = float64(rapid.IntRange(1, 64).Draw(t, "gain")) * rapid.SampledFrom([]float64{-1, 1}).Draw(t, "sign")
			r.left[i] = r.gain[i] * rapid.Float64Range(-9, 9).Draw(t, "rise")
			r.lines = append(r.lines, i)
		}
		r.sort()
		for i := range n {
			var rises, weights []float64
			for _, k := range r.lines {
				if k != i {
					rises, weights = append(rises, r.left[k]/r.gain[k]), append(weights, math.Abs(r.gain[k]))
				}
			}
			if !slices.IsSorted(rises) {
				t.Fatalf("not in order: %v", rises)
			}
			if got, want := r.without(i), stat.Quantile(0.5, stat.Empirical, rises, weights); got != want {
				t.Errorf("without pin %d: %g m, not %g m", i, got, want)
			}
		}
	})
}
