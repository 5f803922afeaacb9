package chart

import (
	"fmt"
	"math"
)

// Bounds of a design.
const (
	shortest = 2    // observations
	longest  = 1e10 // beyond it the arithmetic has too few digits
	lowest   = 1e-6 // standard deviations
	tallest  = 40
)

// DesignCusum is the one-sided chart of reference value k whose average run
// length where nothing is wrong is inControl observations, 2 to 1e10, to within
// a part in a million.
func DesignCusum(k, inControl float64) (Cusum, error) {
	h, err := design(inControl, func(h float64) float64 { return Cusum{k, h}.RunLength(0, 0) })
	if err != nil {
		return Cusum{}, fmt.Errorf("cumulative sum with reference value %g: %w", k, err)
	}
	return Cusum{k, h}, nil
}

// DesignEwma is the two-sided chart of weight lambda with the same property.
func DesignEwma(lambda, inControl float64) (Ewma, error) {
	if !(lambda > 0 && lambda <= 1) {
		return Ewma{}, fmt.Errorf("moving average: weight %g is not over 0 to 1", lambda)
	}
	l, err := design(inControl, func(l float64) float64 { return Ewma{lambda, l}.RunLength(0) })
	if err != nil {
		return Ewma{}, fmt.Errorf("moving average of weight %g: %w", lambda, err)
	}
	return Ewma{lambda, l}, nil
}

// design is the height at which a run length that rises with it is inControl, by
// halving.
func design(inControl float64, runLength func(height float64) float64) (float64, error) {
	if !(inControl >= shortest && inControl <= longest) {
		return 0, fmt.Errorf("a run of %g observations is not from %d to %g", inControl, shortest, longest)
	}
	if least := runLength(lowest); least > inControl {
		return 0, fmt.Errorf("a run of %g observations is under the shortest, %.3g", inControl, least)
	}
	high := 0.5
	for runLength(high) < inControl {
		if high *= 1.5; high > tallest {
			return 0, fmt.Errorf("no run of %g observations within %d standard deviations", inControl, tallest)
		}
	}
	for low := lowest; high-low > 1e-9*high; {
		if mid := (low + high) / 2; runLength(mid) < inControl {
			low = mid
		} else {
			high = mid
		}
	}
	if got := runLength(high); math.Abs(got/inControl-1) > 1e-6 {
		return 0, fmt.Errorf("the nearest to a run of %g observations is %g", inControl, got)
	}
	return high, nil
}
