package detect

// The predictor forecasts the ship's position 2 to 12 s ahead, so that a movement
// which no known force explains shows as a prediction error. Every half-second
// step, for each mode (surge, sway, yaw) and each horizon h:
//
//	position(t+h) = position(t) + c·x(t) + ∬ pull of the lines / mass
//
// x are the regressors: speed and unexplained acceleration at t, wind force, the push of
// the fenders (see contact) and the distance from the mean position. Their coefficients c
// are estimated by recursive least squares with a forgetting factor, a time constant of
// about ten minutes.
//
// The pull of the lines is the measured load of every line, including lines that
// are tended, slipping or parted, so that what is known causes no prediction error.
// It enters by Newton's second law with a fixed coefficient of 1: the error due to
// a pull that no pin measures is then ½·pull/mass·h², whatever the stiffness of the
// lines.
//
// Metres and seconds. Source: Newton's second law; least squares as in any
// textbook; the figures are common practice, no source.
const (
	stepTicks       = 5   // ticks in a step
	stepPeriod      = 0.5 // s
	historySteps    = 32
	predictorWarmup = 60         // steps after which positions are predicted
	meanSteps       = 240        // time constant of the mean position and forces
	fastTau         = 2.5        // s; time constants of the two trackers
	slowTau         = 8          // s
	forgetting      = 1 - 1./600 // per update of the coefficients, once a second
	observationSD   = 0.005      // m; standard deviation assumed for one observation
	priorVariance   = 0.1        // of each coefficient
)

// horizons of the predictions, in steps.
var horizons = [horizonCount]int64{4, 7, 11, 16, maxHorizon}

const (
	horizonCount = 5
	maxHorizon   = 24
)

// The regressors of a prediction.
const (
	regFastSpeed = iota // of the fast tracker
	regSlowSpeed
	regFastAccel
	regSlowAccel
	regLaggedWind
	regWind
	regFenders
	regPos
	regressors
)

// predictor is the state of the predictions. Arrays by mode are surge, sway and yaw.
type predictor struct {
	Steps       int64 // since the position was last unknown
	MeanPos     [modes]float64
	MeanForcing [forcings][modes]float64 // m/s²
	Fast        trackers
	Slow        trackers
	History     [historySteps]stepState
	Coef        [horizonCount][modes][regressors]float64
	CoefCov     [horizonCount][modes][regressors][regressors]float64
	PredictionErrors
	Innovations innovations
	Range       workingRange
}

// The known forces on the ship, as accelerations.
const (
	forceLines = iota
	forceLaggedWind
	forceWind
	forceFenders
	forcings
)

// stepState is what is kept of a step. Positions are in m, speeds in m/s,
// accelerations in m/s².
type stepState struct {
	Pos, FastSpeed, SlowSpeed, FastAccel, SlowAccel [modes]float64
	Forcing                                         [forcings][modes]float64 // less its mean
}

// stepEnds reports whether a step ends with this tick.
func stepEnds(now moment) bool { return (now.Tick+1)%stepTicks == 0 }

// predictorStep takes the mean position of the step that ends now and compares it with
// its predictions, about each centre.
func (b *Berth) predictorStep(now moment) {
	if !stepEnds(now) {
		return
	}
	m := &b.state.Motion
	if m.Ticks < stepTicks {
		for c := range m.Predictors {
			m.Predictors[c].Steps = 0
		}
		m.Record.reset()
		m.Kept.Count, m.Contact = 0, contact{}
		return
	}
	var at stepState
	for n := range int64(stepTicks) {
		q := m.posAgo(n)
		for k := range modes {
			at.Pos[k] += q[k] / stepTicks
		}
	}
	b.findContact()
	b.updateForcing(now, &at)
	m.Kept.add(&at)
	b.recordStep(now, &at)
	var logDensity [centres]float64
	for c := range centres {
		logDensity[c] = m.Predictors[c].step(b.stepAbout(c, &at), &b.errorChols[c])
	}
	m.compareCentres(&logDensity)
}

// step takes a step of the ship, and returns and sets l as updateErrorCov does.
func (pr *predictor) step(at stepState, l *cholesky) (logDensity float64) {
	if pr.Steps == 0 {
		pr.reset(&at)
	}
	for k := range modes {
		pr.MeanPos[k] += (at.Pos[k] - pr.MeanPos[k]) / meanSteps
		for p := range forcings {
			pr.MeanForcing[p][k] += (at.Forcing[p][k] - pr.MeanForcing[p][k]) / meanSteps
			at.Forcing[p][k] -= pr.MeanForcing[p][k]
		}
	}
	pr.Fast.update(&at.Pos, &at.Forcing, fastTau)
	pr.Slow.update(&at.Pos, &at.Forcing, slowTau)
	at.FastSpeed, at.SlowSpeed, at.FastAccel, at.SlowAccel = pr.Fast.Speed, pr.Slow.Speed, pr.Fast.Accel, pr.Slow.Accel
	pr.History[pr.Steps%historySteps] = at
	pr.Innovations.update(&at, &pr.MeanPos, pr.Steps)
	pr.Steps++
	pr.updateRange()
	pr.updateCoef()
	return pr.updateErrorCov(l)
}

// reset starts from a ship at rest at this position. The coefficients are kept.
func (pr *predictor) reset(at *stepState) {
	pr.MeanPos, pr.MeanForcing = at.Pos, at.Forcing
	pr.Fast, pr.Slow = trackers{Pos: at.Pos}, trackers{Pos: at.Pos}
	if pr.CoefCov[0][0][0][0] != 0 {
		return // already estimated
	}
	for s := range horizons {
		for m := range modes {
			pr.Coef[s][m] = [regressors]float64{0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 1, 0}
			for k := range regressors {
				pr.CoefCov[s][m][k][k] = priorVariance
			}
		}
	}
}

// updateCoef computes the prediction errors of all horizons at this step and, every
// second step, updates the coefficients with them.
func (pr *predictor) updateCoef() {
	now := &pr.History[(pr.Steps-1)%historySteps]
	before := &pr.History[(pr.Steps-2+historySteps)%historySteps]
	var moved [forcings][modes]float64 // double integral of the forcing from the base step on, m
	ago := int64(0)
	for s, h := range horizons {
		if pr.Steps <= predictorWarmup+h {
			return
		}
		for ; ago < h; ago++ {
			forcing := &pr.History[(pr.Steps-1-ago)%historySteps].Forcing
			for k := range forcings {
				for m := range modes {
					moved[k][m] += forcing[k][m] * float64(ago+1) * stepPeriod * stepPeriod
				}
			}
		}
		base := &pr.History[(pr.Steps-1-h)%historySteps]
		t := float64(h) * stepPeriod
		for m := range modes {
			x := [regressors]float64{regFastSpeed: base.FastSpeed[m] * t, regSlowSpeed: base.SlowSpeed[m] * t,
				regFastAccel: base.FastAccel[m] * t * t / 2, regSlowAccel: base.SlowAccel[m] * t * t / 2,
				regLaggedWind: moved[forceLaggedWind][m], regWind: moved[forceWind][m], regFenders: moved[forceFenders][m],
				regPos: base.Pos[m] - pr.MeanPos[m]}
			e := (now.Pos[m]+before.Pos[m])/2 - base.Pos[m] - moved[forceLines][m]
			for k, c := range pr.Coef[s][m] {
				e -= c * x[k]
			}
			pr.Errors[s][(pr.Steps-1)%historySteps][m] = e
			pr.WindMoves[s][(pr.Steps-1)%historySteps][m] = (x[regLaggedWind] + x[regWind]) / 2
			if pr.Steps%2 == 0 {
				rlsForget(&pr.Coef[s][m], &pr.CoefCov[s][m], &x, e)
			}
		}
	}
}
