package detect

// rlsForget is one update of recursive least squares with a forgetting factor: the
// coefficients c with covariance p, the regressors x and the prediction error e, all
// with equationSD. The covariance is not allowed to grow without bound where the
// ship lies still and the observations hold no information.
func rlsForget(c *[regressors]float64, p *[regressors][regressors]float64, x *[regressors]float64, e float64) {
	var px [regressors]float64
	scale := forgetting
	for i := range px {
		for j, v := range x {
			px[i] += p[i][j] * v
		}
		px[i] /= observationSD
		scale += px[i] * x[i] / observationSD
	}
	var largest float64
	for i := range px {
		gain := px[i] / scale
		c[i] += gain * e / observationSD
		for j := range px {
			p[i][j] -= gain * px[j]
		}
		largest = max(largest, p[i][i])
	}
	if largest < 2*priorVariance {
		for i := range p {
			for j := range p[i] {
				p[i][j] *= 1 / forgetting
			}
		}
	}
}

// rlsUpdate is one update of recursive least squares without forgetting: the
// coefficients c, their covariance p row by row, the regressors x, the prediction
// error e and its standard deviation sd. px is working space as long as c.
func rlsUpdate(c, p, x, px []float64, e, sd float64) {
	n := len(c)
	scale := sd * sd
	for i := range n {
		row := p[i*n : i*n+n]
		px[i] = 0
		for j, v := range x {
			px[i] += row[j] * v
		}
		scale += px[i] * x[i]
	}
	for i := range n {
		gain := px[i] / scale
		c[i] += gain * e
		row := p[i*n : i*n+n]
		for j := range row {
			row[j] -= gain * px[j]
		}
	}
}
