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
	offsetTau     = 300 * float64(ticksPerSecond) // ticks; time constant of Base
	pinSD         = 0.005                         // of MBL; a load is believed to this when the fit is good
	residualScale = 0.01                          // of MBL; a line this far off has half its weight
	minRedundancy = 0.25                          // least 1 − leverage at which the others can speak for a line
	minFitLoad    = 0.015                         // of MBL; a line under this does not follow the ship
	minFitAge     = 20 * float64(ticksPerSecond)  // ticks before which the others cannot speak for a line
	settledFitAge = 60 * float64(ticksPerSecond)  // ticks from which its Base is a record to hold it to
	motionHistory = 16                            // ticks of Q kept
)

type motion struct {
	Pos       [modes]float64 // metres
	Cov       [modes][modes]float64
	History   [motionHistory][modes]float64
	Ticks     int64 // ticks with a fit, ever
	Heave     heave
	Predictor predictor
	Record    motionRecord
}

// fitted is a line's part of the fit.
type lineFit struct {
	// Load is the newest; Stretch is what it draws the line out, m, and Stiff the
	// line's stiffness there, kN/m.
	Load, Stretch, Stiffness float64

	ExpectedStretch float64 // the stretch that the other lines speak for, m, where Known
	Offset          float64 // m
	Age             float64 // ticks that Base has been learnt for
	Known           bool    // the others can speak for the line: Expect holds
	// Expect is the load that the other lines speak for, kN; Off the measured
	// load less that.
	Expected, Residual         float64
	ResidualSum, ResidualCount float64 // Off of the ticks of the present second, and how many
	ErrorGain                  float64 // how many times the others' errors go into Expect, about
	Noise                      float64 // usual size of Off, kN (mean of its magnitude, 60 s)
	Weight                     float64 // in this tick's fit, 1/m²; 0 where the line had no vote
	// Sway is how far Q goes for 1 kN of Off: Q without the line's own vote is
	// Q − Sway·Off.
	Influence [modes]float64
}

// heave is the ship's rise on the tide and by her drafts, smoothed.
type heave struct {
	Water, Fwd, Aft slowLevel
}

// level is a slow reading smoothed over half a minute, as a change since the first.
type slowLevel struct {
	First, Newest, Smooth float64
	Known                 bool
}

func (v *slowLevel) add(s *sample) {
	if math.IsNaN(s.Value) {
		return
	}
	if !v.Known {
		v.First, v.Known = s.Value, true
	}
	v.Newest = s.Value - v.First
}

// above is how far the first reading was above the plan's, 0 for none.
func (v *slowLevel) aboveReference(plan float64) float64 {
	if !v.Known {
		return 0
	}
	return v.First - plan
}

func (v *slowLevel) tick() { v.Smooth += (v.Newest - v.Smooth) / float64(30*ticksPerSecond) }

// moved fits the ship's motion to the loads of this tick.
func (b *Berth) fitMotion(now moment) {
	m := &b.state.Motion
	m.Heave.Water.tick()
	m.Heave.Fwd.tick()
	m.Heave.Aft.tick()
	var a [modes][modes]float64
	var y [modes]float64
	votes := 0
	for i := range b.state.Lines {
		f := &b.state.Lines[i].Fit
		f.Weight = b.fitWeight(now, i)
		if f.Weight == 0 {
			continue
		}
		ratio := b.state.Lines[i].Stiffness.Ratio
		drawn := f.Stretch - ratio*b.stretchFromRise(i)
		if f.Age == 0 {
			f.Offset = drawn - ratio*b.stretchFrom(i, &m.Pos)
		}
		votes++
		g := b.jacobian(i)
		for p := range modes {
			wg := f.Weight * g[p]
			for q := range modes {
				a[p][q] += wg * g[q]
			}
			y[p] += wg * (drawn - f.Offset)
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
	m.Cov, m.Pos = inv, mulVec(&inv, &y)
	m.History[m.Ticks%motionHistory] = m.Pos
	m.Ticks++
	for i := range b.state.Lines {
		b.updateFit(now, i, votes)
	}
}

// explain sets what the other lines say of line i, and learns.
func (b *Berth) updateFit(now moment, i, votes int) {
	l := &b.state.Lines[i]
	f, load, g := &l.Fit, l.Pin.Last, b.jacobian(i)
	f.Known = false
	if f.Age == 0 && f.Weight == 0 || !l.Pin.fresh(now) {
		return
	}
	f.setLoad(&b.models[i], load)
	rest, alone := f.Stretch-f.Offset-l.Stiffness.Ratio*b.stretchFromShip(i), 1.0
	if f.Weight > 0 {
		f.Influence = mulVec(&b.state.Motion.Cov, &g)
		for p := range modes {
			f.Influence[p] *= f.Weight
		}
		alone = 1 - dot(&g, &f.Influence)
		for p := range modes {
			f.Influence[p] /= f.Stiffness
		}
		votes--
	}
	mbl := b.plan.Lines[i].MBLkN
	f.Residual = 0
	if f.Known = votes >= modes && alone >= minRedundancy && f.Age >= minFitAge; f.Known {
		f.ExpectedStretch = f.Stretch - rest/alone
		f.Residual = load - b.models[i].loadAt(f.ExpectedStretch, load, f.Stretch, f.Stiffness)
		size := math.Abs(f.Residual)
		if f.Age > settledFitAge { // what is far off now is news, not noise
			size = min(size, max(residualScale*mbl, f.Noise))
		}
		f.Noise += (size - f.Noise) / min(f.Age-minFitAge+1, float64(60*ticksPerSecond))
	}
	if f.Known {
		f.ResidualSum += f.Residual
		f.ResidualCount++
	}
	f.Expected, f.ErrorGain = load-f.Residual, 1/max(alone, minRedundancy)
	if f.Weight > 0 {
		f.Age++
		if f.Age > minFitAge {
			most := pinSD * mbl / f.Stiffness
			rest = max(min(rest, most), -most)
		}
		f.Offset += rest / min(f.Age, offsetTau)
	}
}

// second is the mean of Off over the second that ends; ok is false where it was
// not known.
func (f *lineFit) secondMean() (off float64, ok bool) {
	off, ok = f.ResidualSum/f.ResidualCount, f.ResidualCount > 0
	f.ResidualSum, f.ResidualCount = 0, 0
	return off, ok
}

// follow takes the line's newest load.
func (f *lineFit) setLoad(g *lineModel, load float64) {
	if load != f.Load || f.Stiffness == 0 {
		f.Load = load
		f.Stretch, f.Stiffness = g.stretch(load)
	}
}

// vote is the weight of line i in this tick's fit, 1/m², less the further off
// it was; 0 for a line that does not follow the ship: slack, worked, parted,
// or with its pin at fault.
func (b *Berth) fitWeight(now moment, i int) float64 {
	l := &b.state.Lines[i]
	mbl := b.plan.Lines[i].MBLkN
	if l.tended(now) || l.Parting.Latch.Up && !l.Parting.underTest() && !l.Parting.awaitsRetest() {
		l.Fit.Age = 0
		return 0
	}
	if !b.monitored(now, i) || l.Pin.Last < minFitLoad*mbl || l.Parting.underTest() || l.Parting.awaitsRetest() || b.models[i].Pull == [modes]float64{} {
		return 0
	}
	l.Fit.setLoad(&b.models[i], l.Pin.Last)
	s, d := pinSD*mbl/l.Fit.Stiffness, l.Fit.Residual/(residualScale*mbl)
	young := min(1, (l.Fit.Age+1)/settledFitAge)
	return young * young / (s * s * (1 + d*d))
}

// moves is how far the ship's motion draws line i out, m.
func (b *Berth) stretchFrom(i int, q *[modes]float64) float64 { return dot(&b.models[i].Jacobian, q) }

// rises is how far the ship's rise since the first readings draws line i out, m.
func (b *Berth) stretchFromRise(i int) float64 {
	first, since := b.fairleadRise(i)
	if since == 0 {
		return 0
	}
	g := &b.models[i]
	return g.stretchAtRise(first+since) - g.stretchAtRise(first)
}

// rise is how far the ship's fairlead of line i had risen against the plan's
// reference at the first readings, and how far since, m.
func (b *Berth) fairleadRise(i int) (first, since float64) {
	aft, h, ref := b.models[i].AftShare, &b.state.Motion.Heave, &b.plan.Reference
	first = h.Water.aboveReference(ref.WaterLevelM) - (1-aft)*h.Fwd.aboveReference(ref.DraftFwdM) - aft*h.Aft.aboveReference(ref.DraftAftM)
	return first, h.Water.Smooth - (1-aft)*h.Fwd.Smooth - aft*h.Aft.Smooth
}

// lift is what a metre of the ship's rise puts on line i at its present load, kN/m.
func (b *Berth) loadPerRise(i int) float64 {
	first, since := b.fairleadRise(i)
	return b.state.Lines[i].Fit.Stiffness * b.models[i].stretchPerRise(first+since)
}

// answers is how line i is drawn out by the ship's moves, as it has been seen to.
func (b *Berth) jacobian(i int) (g [modes]float64) {
	for p, v := range b.models[i].Jacobian {
		g[p] = b.state.Lines[i].Stiffness.Ratio * v
	}
	return g
}

// way is how far the ship's motion and rise draw line i out, m.
func (b *Berth) stretchFromShip(i int) float64 {
	return b.stretchFrom(i, &b.state.Motion.Pos) + b.stretchFromRise(i)
}

// before is Q of n ticks ago, n < motionKept and < Ticks.
func (m *motion) posAgo(n int64) *[modes]float64 { return &m.History[(m.Ticks-1-n)%motionHistory] }

func dot(a, b *[modes]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

func mulVec(a *[modes][modes]float64, v *[modes]float64) [modes]float64 {
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
