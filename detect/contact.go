package detect

import (
	"math"
	"slices"

	"hawser/detect/mooring"
)

// contact is where the ship touches her fenders. They push her off the berth and no pin
// reads them: a ship that a gust lifts off, or that comes back, moves as if a line had let
// go. How stiff they are the plan says. Where they begin, in the coordinates of the motion
// fit, follows from how she moves: her equation of motion over the record,
//
//	acceleration = lines + fenders + a·wind + b·lagged wind + c·speed + d
//
// is solved by least squares in sway and yaw, for every pair of contact levels, one for
// each of her ends. Another pair is taken where it is clearly likelier than the one in
// use. The fenders' push is then a known force with a coefficient of its own, and what was
// learnt without it is learnt anew (see relearn).
//
// Accelerations are second differences over six seconds either way; forces are weighted
// over that time as such a difference weighs them. Source: Newton's second law; the theorem
// of Frisch, Waugh and Lovell, by which the columns that all pairs share are eliminated
// once; profile likelihood, as in textbooks of regression. The figures are common
// practice, no source.
type contact struct {
	Known [shipEnds]bool    // she has touched them there
	Level [shipEnds]float64 // m; an end nearer the berth than this is on its fenders
}

const (
	shipEnds         = 2   // forward, aft
	contactFirst     = 60  // spans from which a level is looked for, two minutes
	contactSoon      = 15  // spans between searches while the record fills, half a minute
	contactLater     = 60  // and from then on
	contactHalf      = 3   // spans of a second difference, either way
	contactLLR       = 6   // log-likelihood ratio from which another pair is taken
	fenderSD         = 0.3 // prior standard deviation of the fenders' stiffness, of the plan's
	leastFender      = 0.3 // of the plan's stiffness
	mostFender       = 2
	fenderIterations = 6
)

// contactShares are the levels that are tried: shares of the range of an end's movement,
// from the berth. At 0 she never touches.
var contactShares = [...]float64{0, 0.04, 0.08, 0.12, 0.18, 0.25, 0.35, 0.5, 0.7, 1}

const (
	levelsTried = len(contactShares) + 1 // and the one in use
	sharedCols  = 4                      // constant, speed, wind, lagged wind
	accelCol    = sharedCols             // acceleration, less what the lines give her
	fenderCols  = sharedCols + 1         // by end and level
	contactCols = fenderCols + shipEnds*levelsTried
)

type (
	endLevels   [shipEnds][levelsTried]float64 // m
	contactGram [contactCols][contactCols]float64

	// contactWork is working space of a search.
	contactWork struct {
		spans [recordKept]span
		cols  [contactCols][recordKept]float64
	}
)

// fenderEnd is the fenders of one end of the ship as one spring.
type fenderEnd struct {
	stiffness float64 // kN/m
	arm       float64 // forward of midships, of yawArm
}

// fenderEnds are those of a plan.
func fenderEnds(p *mooring.Plan) (ends [shipEnds]fenderEnd) {
	centre, _ := p.Centre()
	for _, f := range p.Fenders {
		x, e := f.XM-centre, &ends[0]
		if x < 0 {
			e = &ends[1]
		}
		e.stiffness += f.StiffnessKNPerM
		e.arm += f.StiffnessKNPerM * x
	}
	for e := range ends {
		if ends[e].stiffness > 0 {
			ends[e].arm /= ends[e].stiffness * yawArm(&p.Ship)
		}
	}
	return ends
}

// off is how far the end is off the berth at a position, m.
func (e *fenderEnd) off(pos *[modes]float64) float64 { return pos[1] + e.arm*pos[2] }

// accel is the acceleration in a mode by a push of 1 kN, m/s².
func (e *fenderEnd) accel(mode int, mass *[modes]float64) float64 {
	return [modes]float64{0, 1, e.arm}[mode] / mass[mode]
}

// fenderForcing is the acceleration by the fenders at a position, m/s².
func (b *Berth) fenderForcing(pos *[modes]float64) (accel [modes]float64) {
	c, mass := &b.state.Motion.Contact, b.masses()
	for i := range b.fenders {
		e := &b.fenders[i]
		if push := e.stiffness * (c.Level[i] - e.off(pos)); c.Known[i] && push > 0 {
			for m := range modes {
				accel[m] += push * e.accel(m, &mass)
			}
		}
	}
	return accel
}

// findContact looks for likelier contact levels when it is time, but not while a line is
// under test: its test counts steps.
func (b *Berth) findContact() {
	m := &b.state.Motion
	every := int64(contactLater)
	if m.Record.Count < recordKept {
		every = contactSoon
	}
	if m.Record.Steps != 0 || m.Record.Count%every != 0 || m.Record.Count < contactFirst || b.anyUnderTest() {
		return
	}
	if b.searchContact() {
		b.relearn()
	}
}

// searchContact takes the contact levels that are likeliest by the record, and reports
// whether they are others.
func (b *Berth) searchContact() (changed bool) {
	spans := b.contactSpans()
	levels, nearest := b.levelsToTry(spans)
	best, llr := b.likeliestLevels(spans, &levels)
	if llr < contactLLR {
		return false
	}
	for e, k := range best {
		levels[e] = levelsAround(&levels[e], k)
	}
	best, _ = b.likeliestLevels(spans, &levels)
	c := &b.state.Motion.Contact
	was := *c
	for e, k := range best {
		c.Level[e], c.Known[e] = 0, false
		if level := levels[e][k]; level > nearest[e] || was.Known[e] && k == levelsTried-1 {
			c.Level[e], c.Known[e] = level, true
		}
	}
	return *c != was
}

func (b *Berth) anyUnderTest() bool {
	for i := range b.state.Lines {
		if b.state.Lines[i].Parting.underTest() {
			return true
		}
	}
	return false
}

// contactSpans are the spans of the record, oldest first.
func (b *Berth) contactSpans() []span {
	n := min(b.state.Motion.Record.Count, recordKept)
	spans := b.contactWork.spans[:n]
	for k := range spans {
		spans[k] = b.spanAgo(n - 1 - int64(k))
	}
	return spans
}

// levelsToTry are the levels over the range of either end, the one in use the last, and
// how near the berth each end has come.
func (b *Berth) levelsToTry(spans []span) (levels endLevels, nearest [shipEnds]float64) {
	c := &b.state.Motion.Contact
	for e := range levels {
		lo, hi := math.Inf(1), math.Inf(-1)
		for k := range spans {
			off := b.fenders[e].off(&spans[k].Pos)
			lo, hi = min(lo, off), max(hi, off)
		}
		for k, share := range contactShares {
			levels[e][k] = lo + share*(hi-lo)
		}
		levels[e][levelsTried-1], nearest[e] = lo, lo
		if c.Known[e] {
			levels[e][levelsTried-1] = c.Level[e]
		}
	}
	return levels, nearest
}

// levelsAround are finer levels around the one of index k, from the next one below to the
// next above; the last stays.
func levelsAround(coarse *[levelsTried]float64, k int) (fine [levelsTried]float64) {
	sorted := *coarse
	slices.Sort(sorted[:])
	levels, at := slices.Compact(sorted[:]), coarse[k]
	i, _ := slices.BinarySearch(levels, at)
	below, above := levels[max(i-1, 0)], levels[min(i+1, len(levels)-1)]
	const each = (levelsTried - 1) / 2
	for j := range each {
		fine[j] = at - float64(j)/float64(each)*(at-below)
		fine[each+j] = at + float64(j+1)/float64(each+1)*(above-at)
	}
	fine[levelsTried-1] = coarse[levelsTried-1]
	return fine
}

// likeliestLevels is the likeliest pair of levels, and its log-likelihood ratio against
// the last of either end.
func (b *Berth) likeliestLevels(spans []span, levels *endLevels) (best [shipEnds]int, llr float64) {
	rows := len(spans) - 2*contactHalf
	independent := float64(rows) / (2 * contactHalf)
	b.fenderColumns(spans, levels)
	var ll [levelsTried][levelsTried]float64
	for mode := 1; mode < modes; mode++ {
		gram := b.contactGram(spans, mode)
		ridge := gram[accelCol][accelCol] / independent / (fenderSD * fenderSD)
		for p := range levelsTried {
			for q := range levelsTried {
				ll[p][q] -= independent / 2 * math.Log(gram.rest(fenderCols+p, fenderCols+levelsTried+q, ridge))
			}
		}
	}
	for p := range levelsTried {
		for q := range levelsTried {
			if ll[p][q] > ll[best[0]][best[1]] {
				best = [shipEnds]int{p, q}
			}
		}
	}
	return best, ll[best[0]][best[1]] - ll[levelsTried-1][levelsTried-1]
}

// fenderColumns fills the columns of the fenders with their push at each level, kN.
func (b *Berth) fenderColumns(spans []span, levels *endLevels) {
	for e := range levels {
		end := &b.fenders[e]
		for k, level := range levels[e] {
			b.fillContact(fenderCols+e*levelsTried+k, spans, func(s *span) float64 {
				return end.stiffness * max(0, level-end.off(&s.Pos))
			})
		}
	}
}

// fillContact fills a column with what is so over the time of each second difference.
func (b *Berth) fillContact(col int, spans []span, at func(*span) float64) {
	for t := range len(spans) - 2*contactHalf {
		sum := 0.0
		for j := -contactHalf + 1; j < contactHalf; j++ {
			sum += float64(contactHalf-max(j, -j)) * at(&spans[t+contactHalf+j])
		}
		b.contactWork.cols[col][t] = sum / (contactHalf * contactHalf)
	}
}

// contactGram is the inner products of a mode's columns, in (m/s²)², those that all pairs
// of levels share eliminated.
func (b *Berth) contactGram(spans []span, mode int) (g contactGram) {
	const width = contactHalf * spanSeconds // s
	cols, rows := &b.contactWork.cols, len(spans)-2*contactHalf
	b.fillContact(2, spans, func(s *span) float64 { return s.Forcing[forceWind][mode] })
	b.fillContact(3, spans, func(s *span) float64 { return s.Forcing[forceLaggedWind][mode] })
	b.fillContact(accelCol, spans, func(s *span) float64 { return s.Forcing[forceLines][mode] })
	for t := range rows {
		before, now, after := spans[t].Pos[mode], spans[t+contactHalf].Pos[mode], spans[t+2*contactHalf].Pos[mode]
		cols[0][t], cols[1][t] = 1, (after-before)/(2*width)
		cols[accelCol][t] = (before-2*now+after)/(width*width) - cols[accelCol][t]
	}
	mass := b.masses()
	scale := func(col int) float64 {
		if col < fenderCols {
			return 1
		}
		return b.fenders[(col-fenderCols)/levelsTried].accel(mode, &mass)
	}
	for p := range g {
		for q := range p + 1 {
			sum := 0.0
			for t, v := range cols[p][:rows] {
				sum += v * cols[q][t]
			}
			sum *= scale(p) * scale(q)
			g[p][q], g[q][p] = sum, sum
		}
	}
	for k := range sharedCols {
		g.eliminate(k)
	}
	return g
}

// eliminate regresses column k out of those after it.
func (g *contactGram) eliminate(k int) {
	if g[k][k] <= 0 {
		return
	}
	for p := k + 1; p < contactCols; p++ {
		share := g[p][k] / g[k][k]
		for q := k + 1; q < contactCols; q++ {
			g[p][q] -= share * g[k][q]
		}
	}
}

// rest is the sum of squared residuals that remains with the fenders of columns p and q,
// the one of an end forward and the other aft, at their likeliest stiffness.
func (g *contactGram) rest(p, q int, ridge float64) float64 {
	const y = accelCol
	fore, aft := 1.0, 1.0 // of the plan's stiffness
	likeliest := func(own, cross, other, sq float64) float64 {
		return max(leastFender, min((own-other*cross+ridge)/(sq+ridge), mostFender))
	}
	if ridge > 0 {
		for range fenderIterations { // coordinate descent
			fore = likeliest(g[p][y], g[p][q], aft, g[p][p])
			aft = likeliest(g[q][y], g[p][q], fore, g[q][q])
		}
	}
	sq := g[y][y] - 2*(fore*g[p][y]+aft*g[q][y]) + fore*fore*g[p][p] + aft*aft*g[q][q] + 2*fore*aft*g[p][q]
	return max(sq, 0) + ridge*((fore-1)*(fore-1)+(aft-1)*(aft-1)) + math.SmallestNonzeroFloat64
}
