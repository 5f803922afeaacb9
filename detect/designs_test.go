package detect

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"hawser/detect/chart"
)

// The limits of the charts follow from the false alarm rates stated in the comments
// beside them.
func TestChartsAreAsDesigned(t *testing.T) {
	const yearHours = 365.25 * 24
	// a stuck pin: once in ten years of ten observations a second
	stuck, err := chart.DesignEwma(1/float64(ticksPerSecond), 10*yearHours*3600*float64(ticksPerSecond))
	if err != nil || math.Abs(stuck.L-stuckLimits) > 0.001 {
		t.Errorf("stuck: limits %v, by design %v, %v", stuckLimits, stuck.L, err)
	}
	// a pin's zero: once in twenty years of an observation a minute, either way, so
	// that one way is once in forty
	zero, err := chart.DesignCusum(zeroChart().K, 2*20*yearHours*3600/zeroInterval)
	if err != nil || math.Abs(zero.H-zeroH) > 0.001 {
		t.Errorf("zero: height %v, by design %v, %v", zeroH, zero.H, err)
	}
	// and its delay: the shift it is for in one or two observations, 0.045 of MBL in
	// three at most
	if n := zero.RunLength(zeroTarget/zeroSD, 0); n > 2 {
		t.Errorf("zero: the shift it is designed for takes %.2f observations", n)
	}
	if n := zero.RunLength(0.045/zeroSD, 0); n > 3 {
		t.Errorf("zero: 0.045 of MBL takes %.2f observations", n)
	}
}

// Readings n ticks apart enter the average over a second n times each.
func TestStuckChartOfReadingsApart(t *testing.T) {
	for n := int64(1); n <= 20; n++ {
		average := 0.0
		for range n {
			average += (1 - average) / float64(ticksPerSecond)
		}
		if c := stuckChart(n); math.Abs(c.Lambda-average) > 1e-12 {
			t.Errorf("%d ticks apart: weight %v, want %v", n, c.Lambda, average)
		}
	}
	if c := stuckChart(0); c != stuckChart(1) {
		t.Errorf("interval not known: %+v", c)
	}
}

// No observation raises alone; two of the shift it is designed for do.
func TestZeroTakesTwoObservations(t *testing.T) {
	for _, shift := range []float64{zeroTarget, 0.2, 1} {
		var z zero
		for n := 1; n <= 2; n++ {
			for range zeroInterval {
				z.Excess += shift
				z.Seconds++
			}
			z.observe(moment{Time: int64(n) * zeroInterval * second}, zeroSD)
			if z.Shifted != (n == 2) {
				t.Errorf("a shift of %v of MBL after %d observations: raised %v, the sum is %v", shift, n, z.Shifted, z.Cusum)
			}
		}
		if z.Since != 0 {
			t.Errorf("it began at %v ns, want 0", z.Since)
		}
	}
}

// A loss of load is raised by chance once in 5,000 hours of a line that is tested some
// 90 times an hour, its standard deviation known from 15 tests: Student's t by the
// library.
func TestLossSigmaIsAsDesigned(t *testing.T) {
	by := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: 15}.Quantile(1 - 1./(5000*90))
	if math.Abs(lossSigma-by) > 0.2 {
		t.Errorf("%v standard deviations, by design %v", float64(lossSigma), by)
	}
}
