package detect

import (
	"fmt"
	"math"
)

// A parting that was told and that the first twelve seconds neither bear out nor
// deny is tried again on the ship's record of the next minute and of the minutes
// before. By Newton's second law
//
//	place″ = (pull of the lines + wind + what nobody measures) / mass
//
// and were the line gone its pull would be missing from the moment of its fall, a
// step in what nobody measures, in surge, sway and yaw as the line leads. What the
// wind does is known as far as the mast tells, give or take what the plan errs;
// what is left, gusts and seas, is noise whose spectrum the record before the fall
// tells (see noise). The two tales, the pull gone and the line holding, are held
// against each other by their likelihoods. What fenders push is unknown, so each
// tale is told with her off them and on them, fore and aft, for more or less of the
// way she went, and the likeliest of each counts. In surge, where she has lain as
// still as if her fenders held her, they may have held her afterwards too.
//
// A pin that died is told as its fault at once; a line whose parting stays in
// doubt counts as parted. Source: generalised likelihood ratio, A. S. Willsky,
// H. L. Jones (1976), from memory; the odds are common practice, no source.
const (
	minSpansBefore = 45   // spans before the fall, least to try by
	maxSpansBefore = 180  // most
	maxMisfit      = 4    // times the usual, misfit of both tales from which nothing can be said
	responseLLR    = 5    // log of the odds that she answered somehow, from which no pin is called dead
	responseShare  = 0.25 // of the odds that the line holds, where that is more
	settledLLR     = 8    // log of the odds from which a parting is beyond doubt
	minMissing     = 0.5  // of the pull, least that is missing where the line is gone
	maxMissing     = 1.5  // most; the masses are no better known
	missingStep    = 0.125
	heldShare      = 0.2 // of the way that the loss would take her, most that she goes along when her fenders hold her
)

// hearings are the spans after the fall at which a line is tried, and the log of
// the odds under which its pin is called dead: the less the more of the seas is
// seen.
var retestSchedule = [...]struct {
	after int64
	least float64
}{{6, -8}, {9, -7}, {13, -6}, {18, -5}, {24, -4}, {32, -3}, {40, -2.5}}

// pending reports whether a fall that was told is still to be tried.
func (p *parting) awaitsRetest() bool {
	return p.FellAt != 0 && p.Latch.Up && int(p.Retests) < len(retestSchedule)
}

// retry gives the verdict that is due.
func (b *Berth) retest(now moment, i int) {
	p := &b.state.Lines[i].Parting
	if p.FellAt == 0 || !spanEnds(now.Tick) {
		return
	}
	after := (now.Tick + 1 - p.FellAt) / spanTicks
	if after > recordKept {
		p.FellAt = 0
	}
	if !p.awaitsRetest() || after < retestSchedule[p.Retests].after {
		return
	}
	least := retestSchedule[p.Retests].least
	if b.otherFalls(i) { // what is one's is easily taken for the other's
		least *= 2
	}
	odds, ok := b.recordLLR(now, i)
	p.Retests++
	if !ok {
		return
	}
	switch {
	case odds > settledLLR:
		p.Retests = int32(len(retestSchedule))
	case odds < least:
		b.declarePinDead(now, i, -odds, -least)
	}
}

// othersFell reports whether another line fell about when line i did.
func (b *Berth) otherFalls(i int) bool {
	fell := b.state.Lines[i].Parting.FellAt
	for k := range b.state.Lines {
		o := b.state.Lines[k].Parting.FellAt
		if k != i && o != 0 && max(o-fell, fell-o) < retestSchedule[len(retestSchedule)-1].after*spanTicks {
			return true
		}
	}
	return false
}

// dead takes a parting back: it was the pin that died.
func (b *Berth) declarePinDead(now moment, i int, odds, least float64) {
	l := &b.state.Lines[i]
	l.Pull, l.StepLoad = l.Parting.HoldingPull, missing
	l.Zero.Shifted, l.Zero.Since = true, l.Parting.FellAt*tickLength
	l.Zero.DeadLLR, l.Zero.DeadThreshold = odds, least
	b.retractParting(now, i)
}

// takeBack clears a parting that was told.
func (b *Berth) retractParting(now moment, i int) {
	p := &b.state.Lines[i].Parting
	p.Latch, p.RefutedAt, p.TestSince, p.FellAt = latch{}, now.Tick, 0, 0
	if b.state.DisturbedAt == p.PartedAt {
		b.state.DisturbedAt = 0
	}
	b.clear(now, i, Change{Condition: LineParted, Value: p.LoadBefore, Unit: "kN",
		Detail: fmt.Sprintf("Line %s: the ship has not moved as she would without it, so its load pin is doubtful; keep clear of the mooring deck until the line is seen to hold.", b.id(i))})
}

// stillHolds is the logarithm of the odds that line i is gone since its fall
// against that it holds; ok is false where there is too little to judge by.
func (b *Berth) recordLLR(now moment, i int) (odds float64, ok bool) {
	p := &b.state.Lines[i].Parting
	c := b.windowOf(now, p.FellAt)
	if c.before < minSpansBefore {
		return 0, false
	}
	still := b.heldInSurge(&c, i)
	gone, holds, any := math.Inf(1), math.Inf(1), math.Inf(1)
	best, left := math.Inf(1), 0.0 // of all tales
	seen := float64(modes * c.rows())
	for k, pressed := range [...]int{0, contactLevels} {
		found, scale := b.gramMatrices(&c, i, &p.Noise[k], pressed)
		unlike := func(misfit float64) float64 { // minus twice the logarithm of the likelihood
			u := scale + seen*math.Log(misfit/seen)
			if u < best {
				best, left = u, misfit
			}
			return u
		}
		for fore := range contactLevels + 1 {
			for aft := range contactLevels + 1 {
				from := minMissing
				if still && fore+aft > 0 {
					from = 0
				}
				holds = min(holds, unlike(misfit(&found, fore, aft, 0, 0)))
				any = min(any, unlike(minMisfit(&found, fore, aft)))
				for along := from; along <= maxMissing; along += missingStep {
					for across := minMissing; across <= maxMissing; across += missingStep {
						gone = min(gone, unlike(misfit(&found, fore, aft, along, across)))
					}
				}
			}
		}
	}
	if left > maxMisfit*seen { // no tale is hers
		return 0, false
	}
	odds = (holds - gone) / 2
	answered := (holds - any) / 2
	if odds < 0 && answered > max(responseLLR, responseShare*-odds) {
		return 0, false
	}
	return odds, true
}

// found is what the record says, mode by mode, and the logarithm of the determinant
// of the noise's covariance, where she lay so deep in her fenders before the fall.
func (b *Berth) gramMatrices(c *retestWindow, i int, noise *[modes]noiseModel, depth int) (out [modes]gramMatrix, scale float64) {
	for m := range modes {
		columns, doubts := b.motionColumns(c, i, m)
		y := append([]float64(nil), columns[colAccel][:c.before]...)
		if depth > 0 {
			for t := range y {
				y[t] -= columns[colFenders+depth-1][t] + columns[colFenders+contactLevels+depth-1][t]
			}
		}
		if noise[m].SeaPeriod == 0 {
			first := make([][]float64, len(doubts))
			for k := range first {
				first[k] = columns[hypothesisCols+k][:c.before]
			}
			noise[m] = fitNoise(y, first, doubts)
		}
		products, size := whitenedGram(columns, doubts, y, noise[m])
		out[m], scale = products, scale+size
	}
	return out, scale
}

// account is what is told of a mode: the columns and how much there is of each.
type hypothesis struct {
	column [4]int
	share  [4]float64
}

// told is the account of a ship that lies so deep in her fenders fore and aft, 0
// for not at all, with a share of the line's pull missing.
func hypothesisOf(fore, aft int, missing float64) (a hypothesis) {
	a.share[0] = 1
	a.column[1], a.share[1] = colLoss, -missing
	if fore > 0 {
		a.column[2], a.share[2] = colFenders+fore-1, -1
	}
	if aft > 0 {
		a.column[3], a.share[3] = colFenders+contactLevels+aft-1, -1
	}
	return a
}

// left is the product of what two accounts leave unexplained.
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

// misfit is the sum of squares of what is left unexplained, in standard deviations,
// with these shares of the line's pull missing along and across.
func misfit(found *[modes]gramMatrix, fore, aft int, along, across float64) (sum float64) {
	for m := range found {
		missing := across
		if m == 0 {
			missing = along
		}
		a := hypothesisOf(fore, aft, missing)
		sum += found[m].residual(&a, &a)
	}
	return sum
}

// misfitOfAny is the least misfit with any share of the pull missing in each mode,
// none to most.
func minMisfit(found *[modes]gramMatrix, fore, aft int) (sum float64) {
	a, loss := hypothesisOf(fore, aft, 0), hypothesis{column: [4]int{colLoss}, share: [4]float64{1}}
	for m := range found {
		g := &found[m]
		sum += g.residual(&a, &a)
		if size := g[colLoss][colLoss]; size > 0 {
			by := g.residual(&a, &loss)
			missing := max(0, min(by/size, maxMissing))
			sum += missing * (missing*size - 2*by)
		}
	}
	return sum
}

// court is the part of the record that a case is tried on.
type retestWindow struct {
	end       int64 // tick at which the record ends
	sinceFall int64 // spans since the fall
	spans     int64 // in all
	before    int   // rows before the fall
}

// rows are the spans that have a neighbour on either side.
func (c *retestWindow) rows() int { return int(c.spans) - 2 }

// row t is of the span that ended so many before the newest.
func (c *retestWindow) spanAgo(t int) int64 { return c.spans - 2 - int64(t) }

func (b *Berth) windowOf(now moment, fell int64) retestWindow {
	c := retestWindow{end: (now.Tick + 1) / spanTicks * spanTicks}
	c.sinceFall = (c.end - fell + spanTicks - 1) / spanTicks
	c.spans = min(b.state.Motion.Record.Count, recordKept, c.sinceFall+maxSpansBefore)
	c.before = int(c.spans-c.sinceFall) - 2
	return c
}

// since is how much of the span that ended n spans before the newest lies after
// a tick.
func (c *retestWindow) shareAfter(n, tick int64) float64 {
	return min(max(float64(c.end-n*spanTicks-tick)/spanTicks, 0), 1)
}

// stoodStill reports whether the ship lay so still along before the fall that her
// fenders may have held her.
func (b *Berth) heldInSurge(c *retestWindow, i int) bool {
	r, pull := &b.state.Motion.Record, b.models[i].Pull[0]
	var stiff float64
	for k := range b.state.Lines {
		if b.state.Lines[k].Fit.Weight > 0 {
			g := b.models[k].Pull[0]
			stiff += b.stiffness(k) * g * g
		}
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for n := c.sinceFall + 1; n < c.spans; n++ {
		at := r.ago(n).Pos[0]
		lo, hi = min(lo, at), max(hi, at)
	}
	return (hi-lo)*stiff < heldShare*b.state.Lines[i].Parting.LoadBefore*math.Abs(pull)
}
