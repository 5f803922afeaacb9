// Package chart has the control charts that tell a change from chance, and how
// long they run before they do: the run length. Observations are in standard
// deviations from where they should be, independent and normal; a chart is
// designed from the run length wanted where nothing is wrong, and its delay
// where something is follows. It knows nothing of moorings.
//
// A chart holds figures alone; the state between two observations is a number
// that the caller keeps. All of it is allocation-free but the designs and the
// run lengths, which are for tests and for the start.
//
// Sources: E. S. Page, Continuous inspection schemes, Biometrika 41 (1954), for
// the cumulative sum; S. W. Roberts, Control chart tests based on geometric
// moving averages, Technometrics 1 (1959), for the moving average.
package chart

import "math"

// MADScale times the median magnitude of normal errors is their standard
// deviation: 1/Φ⁻¹(3/4).
const MADScale = 1.482602218505602

// MeanScale times the mean magnitude of normal errors is their standard
// deviation: √(π/2).
const MeanScale = 1.2533141373155003

// Cusum is Page's one-sided cumulative sum. K, the reference value, is what an
// observation must pass to count against; half the shift that is to be found
// soonest. H is the sum over which it is told. Both in standard deviations.
type Cusum struct{ K, H float64 }

// Next takes an observation into the sum, which begins at 0, and reports whether
// it is over H.
func (c Cusum) Next(sum, x float64) (next float64, told bool) {
	next = max(0, sum+x-c.K)
	return next, next > c.H
}

// Ewma is Roberts's exponentially weighted moving average, two-sided. Lambda,
// over 0 to 1, is the weight of the newest observation; L is how many of its own
// standard deviations the average may go.
type Ewma struct{ Lambda, L float64 }

// Next takes an observation into the average, which begins at 0.
func (e Ewma) Next(average, x float64) float64 { return average + e.Lambda*(x-average) }

// Limit is how far the average may be off after n observations: its variance
// grows from the first observation's to that of an average that has long run.
func (e Ewma) Limit(n int) float64 {
	return e.Settled() * math.Sqrt(1-math.Pow(1-e.Lambda, 2*float64(n)))
}

// Settled is Limit for an average that has long run.
func (e Ewma) Settled() float64 { return e.L * math.Sqrt(e.Lambda/(2-e.Lambda)) }
