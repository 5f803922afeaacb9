package detect

import "math"

// fitNoise is the noise model of greatest likelihood for a column y, with nuisance
// columns of unknown coefficients.
func fitNoise(y []float64, nuisance [][]float64, priors []prior) (out noiseModel) {
	best, cov := math.Inf(-1), make([]float64, len(y))
	columns := append([][]float64{y}, nuisance...)
	period := peakPeriod(y)
	for _, sea := range seaShares {
		for _, force := range forceShares {
			try := noiseModel{sea, force, period}
			try.autocovariance(cov)
			white, logDet := durbinWhiten(cov, columns, len(y))
			v := residualVariance(white[0], white[1:], priors)
			if l := -float64(len(y))*math.Log(v) - logDet; l > best {
				best, out = l, try
			}
		}
	}
	return out
}

// peakPeriod is the period of the highest peak in a column's spectrum, s.
func peakPeriod(column []float64) float64 {
	mean := 0.0
	for _, v := range column {
		mean += v / float64(len(column))
	}
	best, at := 0.0, float64(seaMinPeriod)
	for period := float64(seaMinPeriod); period < seaMaxPeriod; period *= seaPeriodRatio {
		var c, s float64
		for t, v := range column {
			hann := 1 - math.Cos(2*math.Pi*(float64(t)+0.5)/float64(len(column)))
			sin, cos := math.Sincos(2 * math.Pi * float64(t) * spanSeconds / period)
			c, s = c+hann*(v-mean)*cos, s+hann*(v-mean)*sin
		}
		if e := c*c + s*s; e > best {
			best, at = e, period
		}
	}
	return at
}
