package detect

import (
	"cmp"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

// The weighted median without one pin is gonum's quantile with that pin's weight 0.
func TestRiseWithoutAPin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pins := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) risePin {
			return risePin{rise: rapid.Float64Range(-9, 9).Draw(t, "rise"), weight: float64(rapid.IntRange(1, 64).Draw(t, "weight"))}
		}), 2, 24).Draw(t, "pins")
		slices.SortFunc(pins, func(a, b risePin) int { return cmp.Compare(a.rise, b.rise) })
		rises, weights := make([]float64, len(pins)), make([]float64, len(pins))
		for i := range pins {
			pins[i].line = i
			rises[i], weights[i] = pins[i].rise, pins[i].weight
		}
		out := rapid.IntRange(0, len(pins)-1).Draw(t, "without")
		weights[out] = 0
		r := unseenRise{pins: pins}
		if got, want := r.without(out), stat.Quantile(0.5, stat.Empirical, rises, weights); got != want {
			t.Errorf("%g m, not %g m", got, want)
		}
	})
}
