package detect

import "math"

// motion explains the loads of all lines at once. A load says by the line's law
// how far it is drawn out. A ship alongside moves in surge, sway and yaw; what
// these three do to every line's run is known from the plan, so three numbers,
// fitted to all lines every tick, tell what each line should carry by the word
// of the others:
//
//	stretch[i] = Base[i] + Ratio[i]·(drawn[i](water − draft) + Move[i]·Q) + unexplained
//
// Metres. Q is fitted by weighted least squares, each line worth what its pin is
// by its stiffness; a line that does not go with the others loses its weight.
// Ratio, about 1, and Base are learnt: the plan's errors, and what is slow,
// pretension and creep (see giving).
const (
	baseTime   = 300 * float64(perSecond) // ticks; time constant of Base
	sureOf     = 0.005                    // of MBL; a load is believed to this when the fit is good
	doubtful   = 0.01                     // of MBL; a line this far off has half its weight
	leanest    = 0.25                     // least 1 − leverage at which the others can speak for a line
	slackest   = 0.015                    // of MBL; a line under this does not follow the ship
	youngest   = 20 * float64(perSecond)  // ticks before which the others cannot speak for a line
	grown      = 60 * float64(perSecond)  // ticks from which its Base is a record to hold it to
	motionKept = 16                       // ticks of Q kept
)

type motion struct {
	Q      [modes]float64 // metres
	Cov    [modes][modes]float64
	Kept   [motionKept][modes]float64
	Ticks  int64 // ticks with a fit, ever
	Heave  heave
	Fore   foresight
	Record record
}

// fitted is a line's part of the fit.
type fitted struct {
	// Load is the newest; Stretch is what it draws the line out, m, and Stiff the
	// line's stiffness there, kN/m.
	Load, Stretch, Stiff float64

	Said  float64 // the stretch that the other lines speak for, m, where Known
	Base  float64 // m
	Age   float64 // ticks that Base has been learnt for
	Known bool    // the others can speak for the line: Expect holds
	// Expect is the load that the other lines speak for, kN; Off the measured
	// load less that.
	Expect, Off  float64
	OffSum, Offs float64 // Off of the ticks of the present second, and how many
	Gain         float64 // how many times the others' errors go into Expect, about
	Noise        float64 // usual size of Off, kN (mean of its magnitude, 60 s)
	Weight       float64 // in this tick's fit, 1/m²; 0 where the line had no vote
	// Sway is how far Q goes for 1 kN of Off: Q without the line's own vote is
	// Q − Sway·Off.
	Sway [modes]float64
}

// heave is the ship's rise on the tide and by her drafts, smoothed.
type heave struct {
	Water, Fwd, Aft level
}

// level is a slow reading smoothed over half a minute, as a change since the first.
type level struct {
	First, Newest, Smooth float64
	Known                 bool
}

func (v *level) reading(s *sample) {
	if math.IsNaN(s.Value) {
		return
	}
	if !v.Known {
		v.First, v.Known = s.Value, true
	}
	v.Newest = s.Value - v.First
}

// above is how far the first reading was above the plan's, 0 for none.
func (v *level) above(plan float64) float64 {
	if !v.Known {
		return 0
	}
	return v.First - plan
}

func (v *level) tick() { v.Smooth += (v.Newest - v.Smooth) / float64(30*perSecond) }

// moved fits the ship's motion to the loads of this tick.
func (b *Berth) moved(now moment) {
	m := &b.state.Motion
	m.Heave.Water.tick()
	m.Heave.Fwd.tick()
	m.Heave.Aft.tick()
	var a [modes][modes]float64
	var y [modes]float64
	votes := 0
	for i := range b.state.Lines {
		f := &b.state.Lines[i].Fit
		f.Weight = b.vote(now, i)
		if f.Weight == 0 {
			continue
		}
		ratio := b.state.Lines[i].Giving.Ratio
		drawn := f.Stretch - ratio*b.rises(i)
		if f.Age == 0 {
			f.Base = drawn - ratio*b.moves(i, &m.Q)
		}
		votes++
		g := b.answers(i)
		for p := range modes {
			wg := f.Weight * g[p]
			for q := range modes {
				a[p][q] += wg * g[q]
			}
			y[p] += wg * (drawn - f.Base)
		}
	}
	// a trace of stiffness keeps a mode that no line holds at rest
	hold := 1e-4 * (a[0][0] + a[1][1] + a[2][2])
	for p := range modes {
		a[p][p] += hold
	}
	inv, ok := invert(&a)
	if !ok {
		m.Ticks = 0
		for i := range b.state.Lines {
			b.state.Lines[i].Fit.Known = false
		}
		return
	}
	m.Cov, m.Q = inv, times(&inv, &y)
	m.Kept[m.Ticks%motionKept] = m.Q
	m.Ticks++
	for i := range b.state.Lines {
		b.explain(now, i, votes)
	}
}

// explain sets what the other lines say of line i, and learns.
func (b *Berth) explain(now moment, i, votes int) {
	l := &b.state.Lines[i]
	f, load, g := &l.Fit, l.Pin.Last, b.answers(i)
	f.Known = false
	if f.Age == 0 && f.Weight == 0 || !l.Pin.fresh(now) {
		return
	}
	f.follow(&b.levers[i], load)
	rest, alone := f.Stretch-f.Base-l.Giving.Ratio*b.way(i), 1.0
	if f.Weight > 0 {
		f.Sway = times(&b.state.Motion.Cov, &g)
		for p := range modes {
			f.Sway[p] *= f.Weight
		}
		alone = 1 - dot(&g, &f.Sway)
		for p := range modes {
			f.Sway[p] /= f.Stiff
		}
		votes--
	}
	mbl := b.plan.Lines[i].MBLkN
	f.Off = 0
	if f.Known = votes >= modes && alone >= leanest && f.Age >= youngest; f.Known {
		f.Said = f.Stretch - rest/alone
		f.Off = load - b.levers[i].load(f.Said, load, f.Stretch, f.Stiff)
		size := math.Abs(f.Off)
		if f.Age > grown { // what is far off now is news, not noise
			size = min(size, max(doubtful*mbl, f.Noise))
		}
		f.Noise += (size - f.Noise) / min(f.Age-youngest+1, float64(60*perSecond))
	}
	if f.Known {
		f.OffSum += f.Off
		f.Offs++
	}
	f.Expect, f.Gain = load-f.Off, 1/max(alone, leanest)
	if f.Weight > 0 {
		f.Age++
		if f.Age > youngest {
			most := sureOf * mbl / f.Stiff
			rest = max(min(rest, most), -most)
		}
		f.Base += rest / min(f.Age, baseTime)
	}
}

// second is the mean of Off over the second that ends; ok is false where it was
// not known.
func (f *fitted) second() (off float64, ok bool) {
	off, ok = f.OffSum/f.Offs, f.Offs > 0
	f.OffSum, f.Offs = 0, 0
	return off, ok
}

// follow takes the line's newest load.
func (f *fitted) follow(g *lever, load float64) {
	if load != f.Load || f.Stiff == 0 {
		f.Load = load
		f.Stretch, f.Stiff = g.stretch(load)
	}
}

// vote is the weight of line i in this tick's fit, 1/m², less the further off
// it was; 0 for a line that does not follow the ship: slack, worked, parted,
// or with its pin at fault.
func (b *Berth) vote(now moment, i int) float64 {
	l := &b.state.Lines[i]
	mbl := b.plan.Lines[i].MBLkN
	if l.worked(now) || l.Part.Latch.Up && !l.Part.tried() && !l.Part.pending() {
		l.Fit.Age = 0
		return 0
	}
	if !b.watched(now, i) || l.Pin.Last < slackest*mbl || l.Part.tried() || l.Part.pending() || b.levers[i].Pull == [modes]float64{} {
		return 0
	}
	l.Fit.follow(&b.levers[i], l.Pin.Last)
	s, d := sureOf*mbl/l.Fit.Stiff, l.Fit.Off/(doubtful*mbl)
	young := min(1, (l.Fit.Age+1)/grown)
	return young * young / (s * s * (1 + d*d))
}

// moves is how far the ship's motion draws line i out, m.
func (b *Berth) moves(i int, q *[modes]float64) float64 { return dot(&b.levers[i].Move, q) }

// rises is how far the ship's rise since the first readings draws line i out, m.
func (b *Berth) rises(i int) float64 {
	first, since := b.rise(i)
	if since == 0 {
		return 0
	}
	g := &b.levers[i]
	return g.drawn(first+since) - g.drawn(first)
}

// rise is how far the ship's fairlead of line i had risen against the plan's
// reference at the first readings, and how far since, m.
func (b *Berth) rise(i int) (first, since float64) {
	aft, h, ref := b.levers[i].Aft, &b.state.Motion.Heave, &b.plan.Reference
	first = h.Water.above(ref.WaterLevelM) - (1-aft)*h.Fwd.above(ref.DraftFwdM) - aft*h.Aft.above(ref.DraftAftM)
	return first, h.Water.Smooth - (1-aft)*h.Fwd.Smooth - aft*h.Aft.Smooth
}

// lift is what a metre of the ship's rise puts on line i at its present load, kN/m.
func (b *Berth) lift(i int) float64 {
	first, since := b.rise(i)
	return b.state.Lines[i].Fit.Stiff * b.levers[i].lifted(first+since)
}

// answers is how line i is drawn out by the ship's moves, as it has been seen to.
func (b *Berth) answers(i int) (g [modes]float64) {
	for p, v := range b.levers[i].Move {
		g[p] = b.state.Lines[i].Giving.Ratio * v
	}
	return g
}

// way is how far the ship's motion and rise draw line i out, m.
func (b *Berth) way(i int) float64 { return b.moves(i, &b.state.Motion.Q) + b.rises(i) }

// before is Q of n ticks ago, n < motionKept and < Ticks.
func (m *motion) before(n int64) *[modes]float64 { return &m.Kept[(m.Ticks-1-n)%motionKept] }

func dot(a, b *[modes]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

func times(a *[modes][modes]float64, v *[modes]float64) [modes]float64 {
	return [modes]float64{dot(&a[0], v), dot(&a[1], v), dot(&a[2], v)}
}

// invert a symmetric matrix; ok is false where it has no inverse.
func invert(a *[modes][modes]float64) (inv [modes][modes]float64, ok bool) {
	c00 := a[1][1]*a[2][2] - a[1][2]*a[1][2]
	c01 := a[0][2]*a[1][2] - a[0][1]*a[2][2]
	c02 := a[0][1]*a[1][2] - a[0][2]*a[1][1]
	det := a[0][0]*c00 + a[0][1]*c01 + a[0][2]*c02
	if !(det > 0) || math.IsInf(det, 0) {
		return inv, false
	}
	inv[0] = [modes]float64{c00, c01, c02}
	inv[1] = [modes]float64{c01, a[0][0]*a[2][2] - a[0][2]*a[0][2], a[0][1]*a[0][2] - a[0][0]*a[1][2]}
	inv[2] = [modes]float64{c02, inv[1][2], a[0][0]*a[1][1] - a[0][1]*a[0][1]}
	for p := range modes {
		for q := range modes {
			inv[p][q] /= det
		}
	}
	return inv, true
}
