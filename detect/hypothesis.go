package detect

// hypothesis is a linear combination of a mode's columns.
type hypothesis struct {
	column [4]int
	share  [4]float64
}

// leaning is how a ship lies against her fenders.
type leaning struct {
	fore, aft int     // contact levels, 0 for off them
	stiffness float64 // of the fenders, of the plan's
}

// hypothesisOf is the equation of motion of a ship that lies so, with a share of the
// line's pull missing.
func hypothesisOf(l leaning, missing float64) (a hypothesis) {
	a.share[0] = 1
	a.column[1], a.share[1] = colLoss, -missing
	if l.fore > 0 {
		a.column[2], a.share[2] = colFenders+l.fore-1, -l.stiffness
	}
	if l.aft > 0 {
		a.column[3], a.share[3] = colFenders+contactLevels+l.aft-1, -l.stiffness
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

// misfit is the sum of squared residuals, in variances, with these shares of the
// line's pull missing along (surge) and across (sway and yaw).
func misfit(gram *[modes]gramMatrix, l leaning, along, across float64) (sum float64) {
	for m := range gram {
		share := across
		if m == 0 {
			share = along
		}
		h := hypothesisOf(l, share)
		sum += gram[m].residual(&h, &h)
	}
	return sum
}

// minMisfit is the least misfit with any share of the pull missing in each mode, from
// none to maxMissing.
func minMisfit(gram *[modes]gramMatrix, l leaning) (sum float64) {
	h, loss := hypothesisOf(l, 0), hypothesis{column: [4]int{colLoss}, share: [4]float64{1}}
	for m := range gram {
		g := &gram[m]
		sum += g.residual(&h, &h)
		if sq := g[colLoss][colLoss]; sq > 0 {
			cross := g.residual(&h, &loss)
			share := max(0, min(cross/sq, maxMissing))
			sum += share * (share*sq - 2*cross)
		}
	}
	return sum
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
