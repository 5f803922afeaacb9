package detect

import (
	"math"
	"testing"
)

// A step at d standard deviations from the mean of the sample is inflated by (d/2)²,
// counted by hand: the sample is -0.1, 0.1, -0.1, … in sway, whose standard deviation
// is 0.1 m, to which the floor of 0.01 m adds.
func TestWorkingRangeInflatesOutside(t *testing.T) {
	for _, c := range []struct{ sway, want float64 }{{0, 1}, {0.2, 1}, {0.44, 4}, {-0.44, 4}, {1.1, 25}} {
		var r workingRange
		step := int64(0)
		for ; step < 10*rangeWindow; step++ {
			var at [rangeDim]float64
			at[1] = 0.1 * float64(1-2*(step%2))
			r.update(step, &at, &at)
		}
		now, old := [rangeDim]float64{0, c.sway}, [rangeDim]float64{}
		r.update(step, &now, &old)
		if got := r.inflation(step); math.Abs(got-c.want) > 0.02*c.want {
			t.Errorf("at %g m: %.3f times the variance, want %g", c.sway, got, c.want)
		}
	}
}

// Surge is not held by fenders and inflates nothing.
func TestWorkingRangeLeavesSurge(t *testing.T) {
	var r workingRange
	for step := range int64(rangeWindow) {
		r.update(step, &[rangeDim]float64{float64(step)}, &[rangeDim]float64{})
		if got := r.inflation(step); got != 1 {
			t.Fatalf("step %d: %g times the variance", step, got)
		}
	}
}
