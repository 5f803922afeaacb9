package detect

import "math"

// The columns of a mode's equation of motion, a row for each span: accelerations in
// m/s². The columns after hypothesisCols have unknown coefficients with a prior.
const (
	colAccel       = iota                                // of the ship, less what the lines give her
	colLoss                                              // lost with line i's pull
	colFenders                                           // by her fenders: for each end, by contact level
	hypothesisCols = colFenders + shipEnds*contactLevels // of the columns that make up a hypothesis
	contactLevels  = len(retestShares)
)

// retestShares are the contact levels: the share of its range in the record over
// which an end of the ship was on its fenders.
var retestShares = [...]float64{0.1, 0.3, 0.6, 1}

// prior is the normal prior of a column's coefficient.
type prior struct{ mean, sd float64 }

// The priors; common practice, no source.
var (
	constantPrior = prior{0, 1000}    // m/s², of what is steady
	windPrior     = prior{0.5, 0.3}   // of the wind at once and of the lagged wind, each
	dampingPrior  = prior{0.01, 0.03} // 1/s; some tenth of critical
	suspectPrior  = prior{0.5, 0.7}   // of the pull of another line under test
	partedPrior   = prior{0.9, 0.3}   // of the pull of another line that parted
	ownPullPrior  = prior{0, 0.7}     // of what another pin may have made up, of its line's own change of pull
)

// minOwnPull is the own change of another line's pull, of the load before the fall, from
// which a fault of its pin may be behind it.
const minOwnPull = 0.3

// motionColumns are the columns of a mode, and the priors of those after
// hypothesisCols. A second difference of means over spans is the acceleration weighted
// over three spans by a spline; for a force that is known by its means over spans the
// weights are near ⅙, ⅔, ⅙. The priors' means are taken off the first column.
func (b *Berth) motionColumns(w *retestWindow, i, mode int) (columns [][]float64, priors []prior) {
	column := func(at func(n int64) float64) []float64 {
		out := make([]float64, w.rows())
		for t := range out {
			out[t] = at(w.spanAgo(t))
		}
		return out
	}
	smoothed := func(at func(n int64) float64) []float64 {
		return column(func(n int64) float64 { return (at(n-1) + 4*at(n) + at(n+1)) / 6 })
	}
	accel := column(func(n int64) float64 {
		return (b.spanAgo(n - 1).Pos[mode] - 2*b.spanAgo(n).Pos[mode] + b.spanAgo(n + 1).Pos[mode]) / (spanSeconds * spanSeconds)
	})
	for t, force := range smoothed(func(n int64) float64 { return b.spanAgo(n).Forcing[forceLines][mode] }) {
		accel[t] -= force
	}
	columns = append(columns, accel, smoothed(func(n int64) float64 { return b.missingPull(w, n, i, mode) }))
	for end := range shipEnds {
		for _, share := range retestShares {
			columns = append(columns, smoothed(b.fenderForce(w, end, mode, share)))
		}
	}
	add := func(p prior, column []float64) {
		columns, priors = append(columns, column), append(priors, p)
		for t := range accel {
			accel[t] -= p.mean * column[t]
		}
	}
	add(constantPrior, column(func(int64) float64 { return 1 }))
	add(dampingPrior, column(func(n int64) float64 {
		return (b.spanAgo(n + 1).Pos[mode] - b.spanAgo(n - 1).Pos[mode]) / (2 * spanSeconds)
	}))
	if b.spanAgo(0).Forcing[forceWind] != [modes]float64{} {
		for _, wind := range []int{forceLaggedWind, forceWind} {
			add(windPrior, smoothed(func(n int64) float64 { return b.spanAgo(n).Forcing[wind][mode] }))
		}
	}
	for k := range b.state.Lines {
		o := &b.state.Lines[k]
		switch {
		case k == i:
		case o.Parting.FellAt != 0:
			p := suspectPrior
			if o.Parting.Latch.Up && !o.Parting.awaitsRetest() {
				p = partedPrior
			}
			add(p, smoothed(func(n int64) float64 { return b.missingPull(w, n, k, mode) }))
		case b.ownPullRange(w, k) >= minOwnPull*b.state.Lines[i].Parting.LoadBefore:
			add(ownPullPrior, smoothed(func(n int64) float64 { return b.pullAccel(b.state.Motion.Centre, k, b.ownPull(k, n))[mode] }))
		}
	}
	return columns, priors
}

// ownPull is the pull of line k that the ship's position does not explain, in the span
// that ended n spans before the newest, kN.
func (b *Berth) ownPull(k int, n int64) float64 {
	return float64(b.state.Lines[k].OwnPull[(b.state.Motion.Record.Count-1-n)%recordKept])
}

// ownPullRange is the range of that over the window, kN.
func (b *Berth) ownPullRange(w *retestWindow, k int) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for n := range w.spans {
		pull := b.ownPull(k, n)
		lo, hi = min(lo, pull), max(hi, pull)
	}
	return hi - lo
}

// missingPull is the acceleration that the ship loses in a span if line i is gone
// since its fall, m/s².
func (b *Berth) missingPull(w *retestWindow, n int64, i, mode int) float64 {
	r, p := &b.state.Motion.Record, &b.state.Lines[i].Parting
	gone := w.shareAfter(n, p.FellAt)
	if gone == 0 {
		return 0
	}
	atFall := min((w.end-p.FellAt+spanTicks-1)/spanTicks, w.spans-1)
	was, is := &r.ago(atFall).Pos, &r.ago(n).Pos
	pull := max(0, p.LoadBefore+b.loadChange(i, &[modes]float64{is[0] - was[0], is[1] - was[1], is[2] - was[2]}))
	return b.lossAccel(i, gone*pull)[mode]
}

// fenderForce is the acceleration by the fenders forward (0) or aft (1) of midships
// in a span, m/s², if they touch the ship over this share of that end's range of
// movement, nearest to the berth.
func (b *Berth) fenderForce(w *retestWindow, end, mode int, share float64) func(n int64) float64 {
	f := &b.fenders[end]
	r := &b.state.Motion.Record
	out := func(n int64) float64 { return f.off(&r.ago(n).Pos) }
	nearest, furthest := math.Inf(1), math.Inf(-1)
	for n := range w.spans {
		nearest, furthest = min(nearest, out(n)), max(furthest, out(n))
	}
	contact := nearest + share*(furthest-nearest)
	mass := b.masses()
	perMetre := f.stiffness * f.accel(mode, &mass)
	return func(n int64) float64 { return perMetre * max(0, contact-out(n)) }
}
