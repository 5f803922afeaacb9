package detect

import "math"

// What a mode's equation of motion is made of, a column each, a row for each span:
// accelerations in m/s².
const (
	colAccel       = iota                         // of the ship, less what the lines give her
	colLoss                                       // what she would lack of line i's pull
	colFenders                                    // what her fenders would give her: end by end, the deeper she lies in them
	hypothesisCols = colFenders + 2*contactLevels // what comes after these is in doubt by so much
	contactLevels  = len(contactShares)
)

// contacts are how much of the way that an end of the ship went in the record it
// was on its fenders; she may have been off them all the time.
var contactShares = [...]float64{0.1, 0.3, 0.6, 1}

// doubt is what is known of a column's share before the record is looked at.
type prior struct{ mean, sd float64 }

// What is known of shares beforehand; common practice, no source.
var (
	constantPrior = prior{0, 1000}    // m/s², of what is steady
	windPrior     = prior{0.5, 0.3}   // of the wind at once and of the wind late, each
	dampingPrior  = prior{0.01, 0.03} // 1/s; some tenth of critical
	suspectPrior  = prior{0.5, 0.7}   // of the pull of another line that is tried
	partedPrior   = prior{0.9, 0.3}   // of the pull of another line that parted
)

// evidence is the columns of a mode. A second difference of means over spans is
// the acceleration weighed over three spans by a spline, which for a push that is
// known by its means over spans is near ⅙, ⅔, ⅙.
func (b *Berth) motionColumns(c *retestWindow, i, mode int) (columns [][]float64, doubts []prior) {
	r := &b.state.Motion.Record
	column := func(at func(n int64) float64) []float64 {
		out := make([]float64, c.rows())
		for t := range out {
			out[t] = at(c.spanAgo(t))
		}
		return out
	}
	pushed := func(at func(n int64) float64) []float64 {
		return column(func(n int64) float64 { return (at(n-1) + 4*at(n) + at(n+1)) / 6 })
	}
	place := column(func(n int64) float64 {
		return (r.ago(n - 1).Pos[mode] - 2*r.ago(n).Pos[mode] + r.ago(n + 1).Pos[mode]) / (spanSeconds * spanSeconds)
	})
	for t, push := range pushed(func(n int64) float64 { return r.ago(n).Forcing[forceLines][mode] }) {
		place[t] -= push
	}
	columns = append(columns, place, pushed(func(n int64) float64 { return b.missingPull(c, n, i, mode) }))
	for end := range 2 {
		for _, share := range contactShares {
			columns = append(columns, pushed(b.fenderForce(c, end, mode, share)))
		}
	}
	add := func(d prior, column []float64) {
		columns, doubts = append(columns, column), append(doubts, d)
		for t := range place {
			place[t] -= d.mean * column[t]
		}
	}
	add(constantPrior, column(func(int64) float64 { return 1 }))
	add(dampingPrior, column(func(n int64) float64 {
		return (r.ago(n + 1).Pos[mode] - r.ago(n - 1).Pos[mode]) / (2 * spanSeconds)
	}))
	if r.ago(0).Forcing[forceWind] != [modes]float64{} {
		for _, wind := range []int{forceLaggedWind, forceWind} {
			add(windPrior, pushed(func(n int64) float64 { return r.ago(n).Forcing[wind][mode] }))
		}
	}
	for k := range b.state.Lines {
		if o := &b.state.Lines[k].Parting; k != i && o.FellAt != 0 {
			d := suspectPrior
			if o.Latch.Up && !o.awaitsRetest() {
				d = partedPrior
			}
			add(d, pushed(func(n int64) float64 { return b.missingPull(c, n, k, mode) }))
		}
	}
	return columns, doubts
}

// lacks is the push that the ship would lack in a span, were line i gone since its
// fall.
func (b *Berth) missingPull(c *retestWindow, n int64, i, mode int) float64 {
	r, p := &b.state.Motion.Record, &b.state.Lines[i].Parting
	gone := c.shareAfter(n, p.FellAt)
	if gone == 0 {
		return 0
	}
	at := min((c.end-p.FellAt+spanTicks-1)/spanTicks, c.spans-1)
	was, is := &r.ago(at).Pos, &r.ago(n).Pos
	held := max(0, p.LoadBefore+b.loadChange(i, &[modes]float64{is[0] - was[0], is[1] - was[1], is[2] - was[2]}))
	return -gone * held * b.models[i].Pull[mode] / b.masses()[mode]
}

// fenders is what the fenders forward (0) or aft (1) of midships would give the
// ship in a span, did they touch her over this share of that end's way, the inmost.
func (b *Berth) fenderForce(c *retestWindow, end, mode int, share float64) func(n int64) float64 {
	var stiff, arm float64
	for _, f := range b.plan.Fenders {
		if (f.XM < 0) == (end == 1) {
			stiff += f.StiffnessKNPerM
			arm += f.StiffnessKNPerM * f.XM
		}
	}
	if stiff > 0 {
		arm /= stiff * yawArm(&b.plan.Ship)
	}
	r := &b.state.Motion.Record
	out := func(n int64) float64 { return r.ago(n).Pos[1] + arm*r.ago(n).Pos[2] }
	in, off := math.Inf(1), math.Inf(-1)
	for n := range c.spans {
		in, off = min(in, out(n)), max(off, out(n))
	}
	touch := in + share*(off-in)
	by := stiff * [modes]float64{0, 1, arm}[mode] / b.masses()[mode]
	return func(n int64) float64 { return by * max(0, touch-out(n)) }
}
