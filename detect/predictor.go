package detect

import "math"

// foresight tells the ship's place some seconds ahead, so that what she then does
// otherwise stands out. Every half second, mode by mode (surge, sway, yaw),
//
//	place(t+h) = place(t) + way told from what she did until t
//	             + ∬ pull of the lines / mass + ∬ push of the wind / mass
//
// The pull of the lines is what the pins say, worked, slipping and parted lines
// too, so that what is known of is no surprise. It goes in by Newton's second law
// and unweighted: then what is left over of a pull that nobody measures is simply
// ½·pull/mass·h², whatever the lines' stiffness. How much her speed, her
// acceleration, the wind and her distance from her usual place are worth is
// learnt by recursive least squares, whose past fades over some ten minutes.
// Metres, seconds. Source: Newton's second law; least squares as in any textbook;
// the figures are common practice, no source.
const (
	stepTicks       = 5   // ticks between looks
	stepPeriod      = 0.5 // s
	historySteps    = 32
	predictorWarmup = 60         // looks after which a place is told from what was seen
	meanSteps       = 240        // looks over which the usual place is taken
	fastTau         = 2.5        // s; time constants of the two tracks
	slowTau         = 8          // s
	forgetting      = 1 - 1./600 // of the past, a lesson; they come once a second
	lessonSD        = 0.005      // m; what a lesson is worth
	priorVariance   = 0.1        // of a weight, at first
)

// sights are how far ahead the place is told, in looks.
var horizons = [horizonCount]int64{4, 7, 11, 16, maxHorizon}

const (
	horizonCount = 5
	maxHorizon   = 24
)

// What a way is told from.
const (
	regFastSpeed = iota // two tracks each
	regSlowSpeed
	regFastAccel
	regSlowAccel
	regLaggedWind
	regWind
	regPos
	regressors
)

type predictor struct {
	Steps        int64 // since her place was last not known
	MeanPos      [modes]float64
	MeanForcing  [forcings][modes]float64 // usual, m/s²
	WindForcing  [forcings][modes]float64 // newest known, m/s²; of the wind only
	LaggedWindMS float64                  // wind speed as it has come over the ship
	Fast         tracker3
	Slow         tracker3
	History      [historySteps]stepState
	Coef         [horizonCount][modes][regressors]float64
	CoefCov      [horizonCount][modes][regressors][regressors]float64
	PredictionErrors
	Innovations innovations
}

// pushes on the ship, as accelerations.
const (
	forceLines = iota
	forceLaggedWind
	forceWind
	forcings
)

// beheld is what is kept of a look.
type stepState struct {
	Pos, FastSpeed, SlowSpeed, FastAccel, SlowAccel [modes]float64
	Forcing                                         [forcings][modes]float64 // less what is usual
}

// track follows a place with its speed and the acceleration that no push explains.
type tracker3 struct{ Pos, Speed, Accel [modes]float64 }

// step is that of a steady filter with three like poles, time constant tau.
func (t *tracker3) update(place *[modes]float64, push *[forcings][modes]float64, tau float64) {
	th := math.Exp(-stepPeriod / tau)
	k1, k2, k3 := 1-th*th*th, 1.5*(1-th)*(1-th)*(1+th)/stepPeriod, (1-th)*(1-th)*(1-th)/(stepPeriod*stepPeriod)
	for m := range modes {
		a := t.Accel[m] + push[forceLines][m] + (push[forceLaggedWind][m]+push[forceWind][m])/2
		q := t.Pos[m] + t.Speed[m]*stepPeriod + a*stepPeriod*stepPeriod/2
		v := t.Speed[m] + a*stepPeriod
		off := place[m] - q
		t.Pos[m], t.Speed[m], t.Accel[m] = q+k1*off, v+k2*off, t.Accel[m]+k3*off
	}
}

// looked reports whether a look ends with this tick.
func stepEnds(now moment) bool { return (now.Tick+1)%stepTicks == 0 }

// behold takes a look: five ticks' place and pushes.
func (b *Berth) predictorStep(now moment) {
	if !stepEnds(now) {
		return
	}
	m := &b.state.Motion
	f := &m.Predictor
	if m.Ticks < stepTicks {
		f.Steps = 0
		m.Record.reset()
		return
	}
	var at stepState
	for n := range int64(stepTicks) {
		q := m.posAgo(n)
		for k := range modes {
			at.Pos[k] += q[k] / stepTicks
		}
	}
	b.updateForcing(now, &at)
	b.recordStep(now, &at)
	if f.Steps == 0 {
		f.reset(&at)
	}
	for k := range modes {
		f.MeanPos[k] += (at.Pos[k] - f.MeanPos[k]) / meanSteps
		for p := range forcings {
			f.MeanForcing[p][k] += (at.Forcing[p][k] - f.MeanForcing[p][k]) / meanSteps
			at.Forcing[p][k] -= f.MeanForcing[p][k]
		}
	}
	f.Fast.update(&at.Pos, &at.Forcing, fastTau)
	f.Slow.update(&at.Pos, &at.Forcing, slowTau)
	at.FastSpeed, at.SlowSpeed, at.FastAccel, at.SlowAccel = f.Fast.Speed, f.Slow.Speed, f.Fast.Accel, f.Slow.Accel
	f.History[f.Steps%historySteps] = at
	f.Innovations.update(&at, &f.MeanPos, f.Steps)
	f.Steps++
	f.updateCoef()
	f.updateErrorCov(&b.errorChol)
}

// begin begins with the ship at rest in this place.
func (f *predictor) reset(at *stepState) {
	f.MeanPos, f.MeanForcing = at.Pos, at.Forcing
	f.Fast, f.Slow = tracker3{Pos: at.Pos}, tracker3{Pos: at.Pos}
	if f.CoefCov[0][0][0][0] != 0 {
		return // what was learnt still holds
	}
	for s := range horizons {
		for m := range modes {
			f.Coef[s][m] = [regressors]float64{0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0}
			for k := range regressors {
				f.CoefCov[s][m][k][k] = priorVariance
			}
		}
	}
}

// pushed sets the accelerations that lines and wind give the ship, and notes
// what every line pulls.
func (b *Berth) updateForcing(now moment, at *stepState) {
	f := &b.state.Motion.Predictor
	mass := b.masses()
	var went [modes]float64
	if f.Steps > 0 {
		was := &f.History[(f.Steps-1)%historySteps].Pos
		for k := range modes {
			went[k] = at.Pos[k] - was[k]
		}
	}
	for i := range b.state.Lines {
		b.updatePull(now, i, &went)
		l, g := &b.state.Lines[i], &b.models[i]
		l.OwnChange[f.Steps%historySteps] = l.Pull - b.loadChange(i, &at.Pos)
		for k := range modes {
			at.Forcing[forceLines][k] += l.Pull * g.Pull[k] / mass[k]
		}
	}
	b.updateWindForcing(now, &mass)
	at.Forcing[forceLaggedWind], at.Forcing[forceWind] = f.WindForcing[forceLaggedWind], f.WindForcing[forceWind]
}

// pulled takes line i's pull on by what has come to it since the last look: by
// its pin, or by the ship's way where no pin tells. It takes on changes only, so
// that a pin that comes and goes is no jolt to the ship.
func (b *Berth) updatePull(now moment, i int, went *[modes]float64) {
	l := &b.state.Lines[i]
	load := missing
	if b.plan.Lines[i].Instrumented && l.Health.Fault == healthy && !l.Parting.underTest() {
		load = 0
		for n := range int64(stepTicks) {
			load += l.loadAgo(now, n) / stepTicks
		}
	}
	switch {
	case l.Parting.Latch.Up && !l.Parting.underTest():
	case !math.IsNaN(load - l.StepLoad):
		l.Pull += load - l.StepLoad
	default:
		l.Pull += b.loadChange(i, went)
	}
	l.StepLoad = load
}

// draws is what a small move of the ship puts on line i, kN.
func (b *Berth) loadChange(i int, move *[modes]float64) float64 {
	run := b.jacobian(i)
	return b.stiffness(i) * dot(&run, move)
}

// stiff is line i's stiffness, kN/m: at its load where that is known, else at
// its pretension.
func (b *Berth) stiffness(i int) float64 {
	if k := b.state.Lines[i].Fit.Stiffness; k > 0 {
		return k
	}
	return b.models[i].pretensionStiffness
}

// foretell holds her place against what was told of it, sight by sight, and
// learns.
func (f *predictor) updateCoef() {
	now := &f.History[(f.Steps-1)%historySteps]
	was := &f.History[(f.Steps-2+historySteps)%historySteps]
	var moved [forcings][modes]float64 // ∬ of the pushes from the base on
	back := int64(0)
	for s, h := range horizons {
		if f.Steps <= predictorWarmup+h {
			return
		}
		for ; back < h; back++ {
			p := &f.History[(f.Steps-1-back)%historySteps].Forcing
			for k := range forcings {
				for m := range modes {
					moved[k][m] += p[k][m] * float64(back+1) * stepPeriod * stepPeriod
				}
			}
		}
		base := &f.History[(f.Steps-1-h)%historySteps]
		t := float64(h) * stepPeriod
		for m := range modes {
			x := [regressors]float64{regFastSpeed: base.FastSpeed[m] * t, regSlowSpeed: base.SlowSpeed[m] * t,
				regFastAccel: base.FastAccel[m] * t * t / 2, regSlowAccel: base.SlowAccel[m] * t * t / 2,
				regLaggedWind: moved[forceLaggedWind][m], regWind: moved[forceWind][m], regPos: base.Pos[m] - f.MeanPos[m]}
			went := (now.Pos[m]+was.Pos[m])/2 - base.Pos[m] - moved[forceLines][m]
			off := went
			for k, w := range f.Coef[s][m] {
				off -= w * x[k]
			}
			f.Errors[s][(f.Steps-1)%historySteps][m] = off
			if f.Steps%2 == 0 {
				rlsForget(&f.Coef[s][m], &f.CoefCov[s][m], &x, off)
			}
		}
	}
}

// learn takes a lesson of recursive least squares: with these x the way was told
// short by off. The past fades, but not beyond all bounds where she lies still and
// there is nothing to learn.
func rlsForget(w *[regressors]float64, p *[regressors][regressors]float64, x *[regressors]float64, off float64) {
	var px [regressors]float64
	scale := forgetting
	for i := range px {
		for j, v := range x {
			px[i] += p[i][j] * v
		}
		px[i] /= lessonSD
		scale += px[i] * x[i] / lessonSD
	}
	var most float64
	for i := range px {
		gain := px[i] / scale
		w[i] += gain * off / lessonSD
		for j := range px {
			p[i][j] -= gain * px[j]
		}
		most = max(most, p[i][i])
	}
	if most < 2*priorVariance {
		for i := range p {
			for j := range p[i] {
				p[i][j] *= 1 / forgetting
			}
		}
	}
}
