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
	trialBefore = 45   // spans before the fall, least to try by
	trialBack   = 180  // most
	trialWild   = 4    // times the usual, misfit of both tales from which nothing can be said
	trialAnswer = 5    // log of the odds that she answered somehow, from which no pin is called dead
	trialShare  = 0.25 // of the odds that the line holds, where that is more
	trialOver   = 8    // log of the odds from which a parting is beyond doubt
	pullLeast   = 0.5  // of the pull, least that is missing where the line is gone
	pullMost    = 1.5  // most; the masses are no better known
	pullStep    = 0.125
	stillShare  = 0.2 // of the way that the loss would take her, most that she goes along when her fenders hold her
)

// hearings are the spans after the fall at which a line is tried, and the log of
// the odds under which its pin is called dead: the less the more of the seas is
// seen.
var hearings = [...]struct {
	after int64
	least float64
}{{6, -8}, {9, -7}, {13, -6}, {18, -5}, {24, -4}, {32, -3}, {40, -2.5}}

// pending reports whether a fall that was told is still to be tried.
func (p *part) pending() bool { return p.Fell != 0 && p.Latch.Up && int(p.Heard) < len(hearings) }

// retry gives the verdict that is due.
func (b *Berth) retry(now moment, i int) {
	p := &b.state.Lines[i].Part
	if p.Fell == 0 || !spanEnds(now.Tick) {
		return
	}
	after := (now.Tick + 1 - p.Fell) / spanTicks
	if after > recordKept {
		p.Fell = 0
	}
	if !p.pending() || after < hearings[p.Heard].after {
		return
	}
	least := hearings[p.Heard].least
	if b.othersFell(i) { // what is one's is easily taken for the other's
		least *= 2
	}
	odds, ok := b.stillHolds(now, i)
	p.Heard++
	if !ok {
		return
	}
	switch {
	case odds > trialOver:
		p.Heard = int32(len(hearings))
	case odds < least:
		b.dead(now, i, -odds, -least)
	}
}

// othersFell reports whether another line fell about when line i did.
func (b *Berth) othersFell(i int) bool {
	fell := b.state.Lines[i].Part.Fell
	for k := range b.state.Lines {
		o := b.state.Lines[k].Part.Fell
		if k != i && o != 0 && max(o-fell, fell-o) < hearings[len(hearings)-1].after*spanTicks {
			return true
		}
	}
	return false
}

// dead takes a parting back: it was the pin that died.
func (b *Berth) dead(now moment, i int, odds, least float64) {
	l := &b.state.Lines[i]
	l.Pull, l.Told = l.Part.Held, bad
	l.Zero.Shifted, l.Zero.Since = true, l.Part.Fell*tickLength
	l.Zero.Dead, l.Zero.DeadLeast = odds, least
	b.takeBack(now, i)
}

// takeBack clears a parting that was told.
func (b *Berth) takeBack(now moment, i int) {
	p := &b.state.Lines[i].Part
	p.Latch, p.Denied, p.Trial, p.Fell = latch{}, now.Tick, 0, 0
	if b.state.Upset == p.At {
		b.state.Upset = 0
	}
	b.clear(now, i, Change{Condition: LineParted, Value: p.Before, Unit: "kN",
		Detail: fmt.Sprintf("Line %s: the ship has not moved as she would without it, so its load pin is doubtful; keep clear of the mooring deck until the line is seen to hold.", b.id(i))})
}

// stillHolds is the logarithm of the odds that line i is gone since its fall
// against that it holds; ok is false where there is too little to judge by.
func (b *Berth) stillHolds(now moment, i int) (odds float64, ok bool) {
	p := &b.state.Lines[i].Part
	c := b.caseOf(now, p.Fell)
	if c.before < trialBefore {
		return 0, false
	}
	still := b.stoodStill(&c, i)
	gone, holds, any := math.Inf(1), math.Inf(1), math.Inf(1)
	best, left := math.Inf(1), 0.0 // of all tales
	seen := float64(modes * c.rows())
	for k, pressed := range [...]int{0, depths} {
		found, scale := b.found(&c, i, &p.Noise[k], pressed)
		unlike := func(misfit float64) float64 { // minus twice the logarithm of the likelihood
			u := scale + seen*math.Log(misfit/seen)
			if u < best {
				best, left = u, misfit
			}
			return u
		}
		for fore := range depths + 1 {
			for aft := range depths + 1 {
				from := pullLeast
				if still && fore+aft > 0 {
					from = 0
				}
				holds = min(holds, unlike(misfit(&found, fore, aft, 0, 0)))
				any = min(any, unlike(misfitOfAny(&found, fore, aft)))
				for along := from; along <= pullMost; along += pullStep {
					for across := pullLeast; across <= pullMost; across += pullStep {
						gone = min(gone, unlike(misfit(&found, fore, aft, along, across)))
					}
				}
			}
		}
	}
	if left > trialWild*seen { // no tale is hers
		return 0, false
	}
	odds = (holds - gone) / 2
	answered := (holds - any) / 2
	if odds < 0 && answered > max(trialAnswer, trialShare*-odds) {
		return 0, false
	}
	return odds, true
}

// found is what the record says, mode by mode, and the logarithm of the determinant
// of the noise's covariance, where she lay so deep in her fenders before the fall.
func (b *Berth) found(c *court, i int, noise *[modes]blend, depth int) (out [modes]products, scale float64) {
	for m := range modes {
		columns, doubts := b.evidence(c, i, m)
		y := append([]float64(nil), columns[ofPlace][:c.before]...)
		if depth > 0 {
			for t := range y {
				y[t] -= columns[ofFenders+depth-1][t] + columns[ofFenders+depths+depth-1][t]
			}
		}
		if noise[m].Period == 0 {
			first := make([][]float64, len(doubts))
			for k := range first {
				first[k] = columns[tales+k][:c.before]
			}
			noise[m] = likeliest(y, first, doubts)
		}
		products, size := weighed(columns, doubts, y, noise[m])
		out[m], scale = products, scale+size
	}
	return out, scale
}

// account is what is told of a mode: the columns and how much there is of each.
type account struct {
	column [4]int
	share  [4]float64
}

// told is the account of a ship that lies so deep in her fenders fore and aft, 0
// for not at all, with a share of the line's pull missing.
func told(fore, aft int, missing float64) (a account) {
	a.share[0] = 1
	a.column[1], a.share[1] = ofLoss, -missing
	if fore > 0 {
		a.column[2], a.share[2] = ofFenders+fore-1, -1
	}
	if aft > 0 {
		a.column[3], a.share[3] = ofFenders+depths+aft-1, -1
	}
	return a
}

// left is the product of what two accounts leave unexplained.
func (g *products) left(a, b *account) (sum float64) {
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
func misfit(found *[modes]products, fore, aft int, along, across float64) (sum float64) {
	for m := range found {
		missing := across
		if m == 0 {
			missing = along
		}
		a := told(fore, aft, missing)
		sum += found[m].left(&a, &a)
	}
	return sum
}

// misfitOfAny is the least misfit with any share of the pull missing in each mode,
// none to most.
func misfitOfAny(found *[modes]products, fore, aft int) (sum float64) {
	a, loss := told(fore, aft, 0), account{column: [4]int{ofLoss}, share: [4]float64{1}}
	for m := range found {
		g := &found[m]
		sum += g.left(&a, &a)
		if size := g[ofLoss][ofLoss]; size > 0 {
			by := g.left(&a, &loss)
			missing := max(0, min(by/size, pullMost))
			sum += missing * (missing*size - 2*by)
		}
	}
	return sum
}

// court is the part of the record that a case is tried on.
type court struct {
	end    int64 // tick at which the record ends
	back   int64 // spans since the fall
	spans  int64 // in all
	before int   // rows before the fall
}

// rows are the spans that have a neighbour on either side.
func (c *court) rows() int { return int(c.spans) - 2 }

// row t is of the span that ended so many before the newest.
func (c *court) ago(t int) int64 { return c.spans - 2 - int64(t) }

func (b *Berth) caseOf(now moment, fell int64) court {
	c := court{end: (now.Tick + 1) / spanTicks * spanTicks}
	c.back = (c.end - fell + spanTicks - 1) / spanTicks
	c.spans = min(b.state.Motion.Record.Count, recordKept, c.back+trialBack)
	c.before = int(c.spans-c.back) - 2
	return c
}

// since is how much of the span that ended n spans before the newest lies after
// a tick.
func (c *court) since(n, tick int64) float64 {
	return min(max(float64(c.end-n*spanTicks-tick)/spanTicks, 0), 1)
}

// stoodStill reports whether the ship lay so still along before the fall that her
// fenders may have held her.
func (b *Berth) stoodStill(c *court, i int) bool {
	r, pull := &b.state.Motion.Record, b.levers[i].Pull[0]
	var stiff float64
	for k := range b.state.Lines {
		if b.state.Lines[k].Fit.Weight > 0 {
			g := b.levers[k].Pull[0]
			stiff += b.stiff(k) * g * g
		}
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for n := c.back + 1; n < c.spans; n++ {
		at := r.ago(n).Place[0]
		lo, hi = min(lo, at), max(hi, at)
	}
	return (hi-lo)*stiff < stillShare*b.state.Lines[i].Part.Before*math.Abs(pull)
}
