package detect

import (
	"math"
)

// The noise in the ship's acceleration, taken from second differences of her position,
// has three components, each with a spectrum of its own: unmeasured forces, which last
// about as long as a gust; errors of pins and readings, which second differences
// amplify at high frequencies; and seas, which move her about one period whatever her
// lines do, with the Gaussian spectrum of a swell. Their shares are those of greatest
// likelihood for the record before a fall: in a swell all but some ten-thousandths of
// the variance may be the seas', and yet what is left hides a lost pull. Seconds.
const (
	gustTau         = 10   // time constant of the unmeasured forces
	seaWidth        = 0.15 // standard deviation of a sea's frequency, of its mean
	seaMinPeriod    = 5
	seaMaxPeriod    = 130
	seaPeriodRatio  = 1.06    // between periods tried
	diagonalLoading = 1.00001 // of the variance at lag 0, so that the spectrum has no zeros
)

// The shares that are tried.
var (
	seaShares   = [...]float64{0, 0.3, 0.7, 0.9, 0.97, 0.99, 0.997, 0.999}
	forceShares = [...]float64{0.0003, 0.001, 0.003, 0.01, 0.03, 0.1, 0.3, 0.6, 0.9}
)

// noiseModel is the shares of the components.
type noiseModel struct {
	SeaShare, ForceShare float64 // of the variance; of the rest
	SeaPeriod            float64 // s
}

// whitenedGram whitens the columns by a noise model and takes their inner products.
// The variance is that of the first rows, y. logDet is the logarithm of the
// determinant of the whole covariance.
func whitenedGram(columns [][]float64, priors []prior, y []float64, noise noiseModel) (out gramMatrix, logDet float64) {
	rows := len(columns[0])
	cov := make([]float64, rows)
	noise.autocovariance(cov)
	white, logs := durbinWhiten(cov, append([][]float64{y}, columns...), rows)
	first := make([][]float64, len(white))
	for k := range white {
		first[k] = white[k][:len(y)]
	}
	v := residualVariance(first[0], first[1+hypothesisCols:], priors)
	white = white[1:]
	product := residualProduct(white[hypothesisCols:], priors, v)
	for j := range out {
		for k := range j + 1 {
			out[j][k] = product(white[j], white[k])
			out[k][j] = out[j][k]
		}
	}
	return out, logs + float64(rows)*math.Log(v)
}

// autocovariance sets cov to the autocovariance by lag in spans, of variance 1.
func (n noiseModel) autocovariance(cov []float64) {
	omega := 2 * math.Pi * spanSeconds / n.SeaPeriod
	sea := func(k float64) float64 {
		turn := seaWidth * omega * k
		return math.Exp(-turn*turn/2) * math.Cos(omega*k)
	}
	white := func(k float64) float64 {
		if k == 0 {
			return 1
		}
		return 0
	}
	// the autocovariance of second differences of a series of autocovariance f
	differenced := func(f func(float64) float64, k float64) float64 {
		return 6*f(k) - 4*(f(k-1)+f(k+1)) + f(k-2) + f(k+2)
	}
	seaVar, whiteVar := differenced(sea, 0), differenced(white, 0)
	for lag := range cov {
		k := float64(lag)
		cov[lag] = n.SeaShare*differenced(sea, k)/seaVar +
			(1-n.SeaShare)*(n.ForceShare*math.Exp(-k*spanSeconds/gustTau)+(1-n.ForceShare)*differenced(white, k)/whiteVar)
	}
	cov[0] *= diagonalLoading
}
