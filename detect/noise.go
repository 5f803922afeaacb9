package detect

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// The noise in the ship's acceleration, as second differences of her place tell
// it, is of three kinds, each with a spectrum of its own: pushes that nobody
// measures, which last about as long as a gust; what pins and readings err, which
// second differences make large where it is quick; and seas, which move her
// whatever her lines do, about one period. How much there is of each is what makes
// the record before a fall likeliest. Seconds.
const (
	gustTau         = 10 // time constant of what nobody measures
	seaDecayPeriods = 3  // periods
	seaMinPeriod    = 5
	seaMaxPeriod    = 130
	seaPeriodRatio  = 1.06  // between periods tried
	diagonalLoading = 1.001 // of the variance at no lag: no spectrum is nothing anywhere
)

var (
	seaShares   = [...]float64{0, 0.3, 0.7, 0.9, 0.97}                // of the variance
	forceShares = [...]float64{0.003, 0.01, 0.03, 0.1, 0.3, 0.6, 0.9} // of the rest
)

// products are the inner products of the first columns, white and in standard
// deviations, once what is in doubt has taken what it can of each.
type gramMatrix [hypothesisCols][hypothesisCols]float64

// blend is how much there is of each kind.
type noiseModel struct {
	SeaShare, ForceShare float64 // of the variance; of the rest
	SeaPeriod            float64 // of the sea, s
}

// likeliest is the blend that a column is likeliest under.
func fitNoise(y []float64, doubtful [][]float64, doubts []prior) (out noiseModel) {
	most, cov := math.Inf(-1), make([]float64, len(y))
	known := append([][]float64{y}, doubtful...)
	period := peakPeriod(y)
	for _, sea := range seaShares {
		for _, push := range forceShares {
			try := noiseModel{sea, push, period}
			try.autocovariance(cov)
			white, logs := whitenDurbin(cov, known, len(y))
			size := residualVariance(white[0], white[1:], doubts)
			if l := -float64(len(y))*math.Log(size) - logs; l > most {
				most, out = l, try
			}
		}
	}
	return out
}

// weighed makes the columns white and sets them against each other. The first rows
// of y tell how large a standard deviation is. scale is the logarithm of the
// determinant of the whole covariance.
func whitenedGram(columns [][]float64, doubts []prior, y []float64, of noiseModel) (out gramMatrix, scale float64) {
	rows := len(columns[0])
	cov := make([]float64, rows)
	of.autocovariance(cov)
	white, logs := whitenDurbin(cov, append([][]float64{y}, columns...), rows)
	first := make([][]float64, len(white))
	for k := range white {
		first[k] = white[k][:len(y)]
	}
	size := residualVariance(first[0], first[1+hypothesisCols:], doubts)
	white = white[1:]
	left := residualProduct(white[hypothesisCols:], doubts, size)
	for j := range out {
		for k := range j + 1 {
			out[j][k] = left(white[j], white[k])
			out[k][j] = out[j][k]
		}
	}
	return out, logs + float64(rows)*math.Log(size)
}

// covariance sets the autocovariance by lag in spans, of variance 1.
func (b noiseModel) autocovariance(cov []float64) {
	turn := 2 * math.Pi * spanSeconds / b.SeaPeriod
	swell := func(k float64) float64 {
		k = math.Abs(k)
		return math.Exp(-k*spanSeconds/(seaDecayPeriods*b.SeaPeriod)) * math.Cos(turn*k)
	}
	err := func(k float64) float64 {
		if k == 0 {
			return 1
		}
		return 0
	}
	// the covariance of second differences of what has covariance f
	twice := func(f func(float64) float64, k float64) float64 {
		return 6*f(k) - 4*(f(k-1)+f(k+1)) + f(k-2) + f(k+2)
	}
	swells, errs := twice(swell, 0), twice(err, 0)
	for n := range cov {
		k := float64(n)
		cov[n] = b.SeaShare*twice(swell, k)/swells +
			(1-b.SeaShare)*(b.ForceShare*math.Exp(-k*spanSeconds/gustTau)+(1-b.ForceShare)*twice(err, k)/errs)
	}
	cov[0] *= diagonalLoading
}

// seaPeriod is the period that stands out in a column most.
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

// whitened is the first rows of the columns made white by an autocovariance, each
// row by what those before it foretell of it, and the sum of the logarithms of the
// variances that are left. Source: Levinson's and Durbin's recursion.
func whitenDurbin(cov []float64, columns [][]float64, rows int) (white [][]float64, logs float64) {
	white = make([][]float64, len(columns))
	for k := range white {
		white[k] = make([]float64, rows)
	}
	by, was := make([]float64, rows), make([]float64, rows)
	left := cov[0]
	for t := range rows {
		logs += math.Log(left)
		scale := 1 / math.Sqrt(left)
		for k, x := range columns {
			if t >= len(x) {
				continue
			}
			e := x[t]
			for j, w := range by[:t] {
				e -= w * x[t-1-j]
			}
			white[k][t] = e * scale
		}
		if t+1 == rows {
			break
		}
		reflect := cov[t+1]
		for j, w := range by[:t] {
			reflect -= w * cov[t-j]
		}
		reflect /= left
		copy(was, by[:t])
		for j := range t {
			by[j] = was[j] - reflect*was[t-1-j]
		}
		by[t] = reflect
		left *= 1 - reflect*reflect
	}
	return white, logs
}

// variance of what the doubtful columns leave of a white one.
func residualVariance(y []float64, columns [][]float64, doubts []prior) float64 {
	size := inner(y, y) / float64(len(y))
	for range 2 { // doubts weigh by the size that is sought
		size = max(residualProduct(columns, doubts, size)(y, y)*size/float64(len(y)), 1e-16)
	}
	return size
}

// leaves is the inner product of two columns, in units of size, of what the
// doubtful columns leave of them: least squares with what is known beforehand.
func residualProduct(columns [][]float64, doubts []prior, size float64) func(x, y []float64) float64 {
	n := len(columns)
	normal := mat.NewSymDense(n, nil)
	for j := range n {
		for k := range j + 1 {
			v := inner(columns[j], columns[k]) / size
			if j == k {
				v += 1 / (doubts[j].sd * doubts[j].sd)
			}
			normal.SetSym(j, k, v)
		}
	}
	var root mat.Cholesky
	ok := root.Factorize(normal)
	return func(x, y []float64) float64 {
		sum := inner(x, y) / size
		if !ok {
			return sum
		}
		u, v, by := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
		for k := range n {
			u.SetVec(k, inner(x, columns[k])/size)
			v.SetVec(k, inner(y, columns[k])/size)
		}
		if err := root.SolveVecTo(by, v); err != nil {
			return sum
		}
		return sum - mat.Dot(u, by)
	}
}

func inner(x, y []float64) (sum float64) {
	for k, v := range x {
		sum += v * y[k]
	}
	return sum
}
