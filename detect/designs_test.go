package detect

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"hawser/detect/chart"
)

// The heights of the charts are those of their targets, worked out from what the
// comments beside them state.
func TestChartsAreAsDesigned(t *testing.T) {
	const yearHours = 365.25 * 24
	// a pin that stands: once in ten years of ten looks a second
	stuck, err := chart.DesignEwma(1/float64(ticksPerSecond), 10*yearHours*3600*float64(ticksPerSecond))
	if err != nil || math.Abs(stuck.L-stuckLimits) > 0.001 {
		t.Errorf("stuck: limits %v, by design %v, %v", stuckLimits, stuck.L, err)
	}
	// a pin's zero: once in twenty years of a judgement a minute, either way, so
	// that one way is once in forty
	zero, err := chart.DesignCusum(zeroChart().K, 2*20*yearHours*3600/zeroInterval)
	if err != nil || math.Abs(zero.H-zeroH) > 0.001 {
		t.Errorf("zero: height %v, by design %v, %v", zeroH, zero.H, err)
	}
	// and what it tells how soon: the shift it is for in one or two judgements,
	// 0.045 of MBL in three at most
	if n := zero.RunLength(zeroTarget/zeroSD, 0); n > 2 {
		t.Errorf("zero: the shift it is designed for takes %.2f judgements", n)
	}
	if n := zero.RunLength(0.045/zeroSD, 0); n > 3 {
		t.Errorf("zero: 0.045 of MBL takes %.2f judgements", n)
	}
}

// Seen n ticks apart, the average over a second is that of observations n ticks
// apart that each weigh as much as n of the same.
func TestStuckChartSeesReadingsApart(t *testing.T) {
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
		t.Errorf("not known how far apart: %+v", c)
	}
}

// No judgement tells alone; two of the shift it is designed for do.
func TestZeroTakesTwoJudgements(t *testing.T) {
	for _, shift := range []float64{zeroTarget, 0.2, 1} {
		var z zero
		for n := 1; n <= 2; n++ {
			for range zeroInterval {
				z.Excess += shift
				z.Seconds++
			}
			z.observe(moment{Time: int64(n) * zeroInterval * second}, zeroSD)
			if z.Shifted != (n == 2) {
				t.Errorf("a shift of %v of MBL after %d judgements: told %v, the sum is %v", shift, n, z.Shifted, z.Cusum)
			}
		}
		if z.Since != 0 {
			t.Errorf("it began at %v ns, want 0", z.Since)
		}
	}
}

// A loss of load is told by chance once in 5,000 hours of a line that looks some
// 90 times an hour, its usual spread known from 15 looks: Student's t by the
// library.
func TestLossSpreadIsAsDesigned(t *testing.T) {
	by := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: 15}.Quantile(1 - 1./(5000*90))
	if math.Abs(lossSigma-by) > 0.2 {
		t.Errorf("spread %v, by design %v", float64(lossSigma), by)
	}
}
