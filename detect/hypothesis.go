package detect

import "math"

// hypothesis is a linear combination of a mode's columns.
type hypothesis struct {
	column [3]int
	share  [3]float64
}

// leaning is how a ship lies against her fenders.
type leaning struct {
	fore, aft int     // contact levels, 0 for off them
	stiffness float64 // of the fenders, of the plan's
}

// fenderShares are the stiffnesses of the fenders that are tried, of the plan's: the
// movement is reckoned from the lines' stiffness, and wrong by as much as that is. Common
// practice, no source.
var fenderShares = [...]float64{0.5, 0.7, 1, 1.4}

// leanings are the ways in which a ship may lie.
var leanings = func() (out []leaning) {
	out = append(out, leaning{})
	for fore := range contactLevels + 1 {
		for aft := range contactLevels + 1 {
			for _, share := range fenderShares {
				if fore+aft > 0 {
					out = append(out, leaning{fore, aft, share})
				}
			}
		}
	}
	return out
}()

// hypothesisOf is the equation of motion of a ship that lies so and has all her lines.
func hypothesisOf(l leaning) (a hypothesis) {
	a.share[0] = 1
	if l.fore > 0 {
		a.column[1], a.share[1] = colFenders+l.fore-1, -l.stiffness
	}
	if l.aft > 0 {
		a.column[2], a.share[2] = colFenders+contactLevels+l.aft-1, -l.stiffness
	}
	return a
}

// residual is the inner product of the residuals of two hypotheses.
func (g *gramMatrix) residual(a, b *hypothesis) (sum float64) {
	for j, x := range a.share {
		for k, y := range b.share {
			if x != 0 && y != 0 {
				sum += x * y * g[a.column[j]][b.column[k]]
			}
		}
	}
	return sum
}

// misfit is a mode's sum of squared residuals, in variances, as a function of the share
// of the line's pull that is missing.
type misfit struct{ none, cross, lossSq float64 }

func (g *gramMatrix) misfit(l leaning) misfit {
	h, loss := hypothesisOf(l), hypothesis{column: [3]int{colLoss}, share: [3]float64{1}}
	return misfit{g.residual(&h, &h), g.residual(&h, &loss), g[colLoss][colLoss]}
}

func (m misfit) at(share float64) float64 { return m.none + share*(share*m.lossSq-2*m.cross) }

// least is the least with any share, from none to maxMissing.
func (m misfit) least() float64 {
	if m.lossSq == 0 {
		return m.none
	}
	return m.at(max(0, min(m.cross/m.lossSq, maxMissing)))
}

// leastFrom is the least of the sum of some modes' with one share, of those tried from
// this one.
func leastFrom(share float64, of ...misfit) float64 {
	least := math.Inf(1)
	for ; share <= maxMissing; share += missingStep {
		sum := 0.0
		for _, m := range of {
			sum += m.at(share)
		}
		least = min(least, sum)
	}
	return least
}

// gramMatrices are the Gram matrices of the three modes and the logarithm of the
// determinant of the noise covariance. depth is the contact level of the fenders
// before the fall, 0 for none. The noise models are fitted once for a fall.
func (b *Berth) gramMatrices(w *retestWindow, i int, noise *[modes]noiseModel, depth int) (out [modes]gramMatrix, logDet float64) {
	for m := range modes {
		columns, priors := b.motionColumns(w, i, m)
		y := append([]float64(nil), columns[colAccel][:w.before]...)
		if depth > 0 {
			for t := range y {
				y[t] -= columns[colFenders+depth-1][t] + columns[colFenders+contactLevels+depth-1][t]
			}
		}
		if noise[m].SeaPeriod == 0 {
			before := make([][]float64, len(priors))
			for k := range before {
				before[k] = columns[hypothesisCols+k][:w.before]
			}
			noise[m] = fitNoise(y, before, priors)
		}
		gram, logs := whitenedGram(columns, priors, y, noise[m])
		out[m], logDet = gram, logDet+logs
	}
	return out, logDet
}

// gramMatrix holds the inner products of the first columns, white, in variances, with
// the columns of unknown coefficients regressed out.
type gramMatrix [hypothesisCols][hypothesisCols]float64
