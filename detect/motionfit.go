package detect

import "math"

// The motion fit estimates the ship's position from the loads of all lines. The law
// of a line gives from its load how far it is stretched. A ship alongside moves in
// surge, sway and yaw; the plan gives what these three do to the run of every line.
// So three numbers, fitted to all lines every tick, predict what each line should
// carry by the other lines:
//
//	stretch[i] = Offset[i] + Ratio[i]·(stretch by rise[i] + Jacobian[i]·Pos) + residual
//
// Metres. Pos is fitted by weighted least squares: a line weighs as its pin is
// accurate and as it is stiff, and less the further it is from the others (Cauchy
// weights). Ratio, about 1, and Offset are estimated: the plan's errors, and what is
// slow, such as pretension and creep (see stiffnessRatio).
const (
	offsetTau     = 300 * float64(ticksPerSecond) // ticks; time constant of Offset
	pinSD         = 0.005                         // of MBL; standard deviation of a load in a good fit
	residualScale = 0.01                          // of MBL; residual at which a line has half its weight
	minRedundancy = 0.25                          // least 1 − leverage at which the others determine a line
	minFitLoad    = 0.015                         // of MBL; a line under this does not follow the ship
	tautFitLoad   = 0.04                          // of MBL; from this it follows as its law says
	minFitAge     = 20 * float64(ticksPerSecond)  // ticks before which there is no expected load
	settledFitAge = 60 * float64(ticksPerSecond)  // ticks from which Offset is a reference to test against
	motionHistory = 16                            // ticks of Pos kept
)

// motion is the ship's position and what is derived from it.
type motion struct {
	Pos     [modes]float64 // by the newest fit, m
	Cov     [modes][modes]float64
	History [motionHistory][modes]float64
	Ticks   int64 // ticks with a fit, since the last without
	Heave   heave
	Record  motionRecord
	Contact contact
	Kept    keptSteps

	Predictors [centres]predictor
	Centre     int     // about which the predictor in use predicts
	CentreLLR  float64 // log-likelihood ratio of inboard against face, see compareCentres
}

// lineFit is a line's part of the motion fit.
type lineFit struct {
	// Load is the newest, kN; Stretch what it stretches the line by, m, and
	// Stiffness the line's there, kN/m.
	Load, Stretch, Stiffness float64

	ExpectedStretch float64 // by the other lines, m, where Known
	Offset          float64 // m
	Age             float64 // ticks over which Offset has been estimated
	Known           bool    // there is an expected load by the other lines
	Determined      bool    // they determine it well; else a line out of the fit has a rough one, that says whether it may be slack
	// Expected is the load by the other lines, kN; Residual the measured load less
	// that.
	Expected, Residual         float64
	ResidualSum, ResidualCount float64 // of the present second
	ErrorGain                  float64 // factor from the other lines' errors to Expected, about
	Noise                      float64 // mean magnitude of Residual, kN, over 60 s
	Weight                     float64 // in this tick's fit, 1/m²; 0 where the line is left out
	// Influence is how far 1 kN of Residual moves Pos, m: Pos without the line
	// would be Pos − Influence·Residual.
	Influence [modes]float64
}

// fitMotion fits the ship's position to the loads of this tick.
func (b *Berth) fitMotion(now moment) {
	m := &b.state.Motion
	m.Heave.Water.tick()
	m.Heave.Fwd.tick()
	m.Heave.Aft.tick()
	var normal [modes][modes]float64 // of the normal equations
	var rhs [modes]float64
	lines := 0
	for i := range b.state.Lines {
		f := &b.state.Lines[i].Fit
		f.Weight = b.fitWeight(now, i)
		if f.Weight == 0 {
			continue
		}
		ratio := b.state.Lines[i].Stiffness.Ratio
		stretch := f.Stretch - ratio*b.stretchFromRise(i)
		if f.Age == 0 {
			f.Offset = stretch - ratio*b.stretchFrom(i, &m.Pos)
		}
		lines++
		g := b.jacobian(i)
		for p := range modes {
			wg := f.Weight * g[p]
			for q := range modes {
				normal[p][q] += wg * g[q]
			}
			rhs[p] += wg * (stretch - f.Offset)
		}
	}
	// regularised, so that a mode which no line constrains stays at 0
	ridge := 1e-4 * (normal[0][0] + normal[1][1] + normal[2][2])
	for p := range modes {
		normal[p][p] += ridge
	}
	inv, ok := invert(&normal)
	if !ok {
		m.Ticks = 0
		for i := range b.state.Lines {
			b.state.Lines[i].Fit.Known = false
		}
		return
	}
	m.Cov, m.Pos = inv, mulVec(&inv, &rhs)
	m.History[m.Ticks%motionHistory] = m.Pos
	m.Ticks++
	for i := range b.state.Lines {
		b.updateFit(now, i, lines)
	}
}

// updateFit sets line i's expected load by the other lines and updates its offset.
// lines is how many are in the fit.
func (b *Berth) updateFit(now moment, i, lines int) {
	l := &b.state.Lines[i]
	f, load, g := &l.Fit, l.Pin.Last, b.jacobian(i)
	f.Known = false
	if f.Age == 0 && f.Weight == 0 || !l.Pin.fresh(now) {
		return
	}
	f.setLoad(&b.models[i], load)
	residual, redundancy := f.Stretch-f.Offset-l.Stiffness.Ratio*b.stretchFromShip(i), 1.0 // m
	if f.Weight > 0 {
		f.Influence = mulVec(&b.state.Motion.Cov, &g)
		for p := range modes {
			f.Influence[p] *= f.Weight
		}
		redundancy = 1 - dot(&g, &f.Influence)
		f.Determined = redundancy >= minRedundancy
		for p := range modes {
			f.Influence[p] /= f.Stiffness
		}
		lines--
	} else { // the same as if it were in the fit
		cov := mulVec(&b.state.Motion.Cov, &g)
		sd := pinSD * b.plan.Lines[i].MBLkN / max(f.Stiffness, b.models[i].pretensionStiffness)
		f.Determined = sd*sd/(sd*sd+dot(&g, &cov)) >= minRedundancy
	}
	mbl := b.plan.Lines[i].MBLkN
	f.Residual = 0
	if f.Known = lines >= modes && (f.Determined || f.Weight == 0) && f.Age >= minFitAge; f.Known {
		f.ExpectedStretch = f.Stretch - residual/redundancy
		f.Residual = load - b.models[i].loadAt(f.ExpectedStretch, load, f.Stretch, f.Stiffness)
		size := math.Abs(f.Residual)
		if f.Age > settledFitAge || l.Parting.underTest() || l.Parting.refuted(now) { // a large residual is a signal, not noise
			size = min(size, max(residualScale*mbl, f.Noise))
		}
		f.Noise += (size - f.Noise) / min(f.Age-minFitAge+1, float64(60*ticksPerSecond))
	}
	if f.Known {
		f.ResidualSum += f.Residual
		f.ResidualCount++
	}
	f.Expected, f.ErrorGain = load-f.Residual, 1/max(redundancy, minRedundancy)
	if f.Weight > 0 {
		f.Age++
		if f.Age > minFitAge {
			limit := pinSD * mbl / f.Stiffness
			residual = max(min(residual, limit), -limit)
		}
		f.Offset += residual / min(f.Age, offsetTau)
	}
}

// secondMean is the mean residual of the second that ends, kN; ok is false where it
// was not known.
func (f *lineFit) secondMean() (residual float64, ok bool) {
	residual, ok = f.ResidualSum/f.ResidualCount, f.ResidualCount > 0
	f.ResidualSum, f.ResidualCount = 0, 0
	return residual, ok
}

// setLoad takes the line's newest load, kN.
func (f *lineFit) setLoad(lm *lineModel, load float64) {
	if load != f.Load || f.Stiffness == 0 {
		f.Load = load
		f.Stretch, f.Stiffness = lm.stretch(load)
	}
}

// fitWeight is the weight of line i in this tick's fit, 1/m². It is 0 for a line
// that does not follow the ship: slack, tended, parted, or with a faulty pin. One that
// nears slack loses its weight by degrees: where it went in and out of the fit at once,
// the residuals of all lines would jump.
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
	taut := min(1, (l.Pin.Last/mbl-minFitLoad)/(tautFitLoad-minFitLoad))
	return young * young * taut * taut / (s * s * (1 + d*d))
}

// stretchFrom is how far a position of the ship stretches line i, m.
func (b *Berth) stretchFrom(i int, pos *[modes]float64) float64 {
	return dot(&b.models[i].Jacobian, pos)
}

// jacobian is how far the ship's movement in each mode stretches line i, corrected
// by its stiffness ratio, m/m.
func (b *Berth) jacobian(i int) (g [modes]float64) {
	for p, v := range b.models[i].Jacobian {
		g[p] = b.state.Lines[i].Stiffness.Ratio * v
	}
	return g
}

// stretchFromShip is how far the ship's position and rise stretch line i, m.
func (b *Berth) stretchFromShip(i int) float64 {
	return b.stretchFrom(i, &b.state.Motion.Pos) + b.stretchFromRise(i)
}

// posAgo is Pos of n ticks ago, n < motionHistory and < Ticks.
func (m *motion) posAgo(n int64) *[modes]float64 { return &m.History[(m.Ticks-1-n)%motionHistory] }
