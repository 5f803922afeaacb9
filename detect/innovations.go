package detect

import "math"

// innovations holds the one-step prediction errors of the ship's position. In each
// mode (surge, sway, yaw) a fixed alpha-beta-gamma filter follows the position by
// Newton's second law,
//
//	acceleration = Σ coefficient · known input + estimated unexplained acceleration
//
// The inputs are the pull of the lines, the wind, the push of the fenders (see contact),
// the distance from the mean position (restoring force) and the speed (damping). The
// filter is linear, so the coefficients are estimated by least squares on its own
// response to each input.
//
// The residuals are autocorrelated: waves recur, and pin errors persist for a
// while. An autoregression over the last six seconds therefore predicts the next
// residual. What then remains is the innovation. Innovations are practically
// independent from step to step, and a few minutes give their covariance.
//
// The sudden loss of a pull appears in the innovations as the filter's step
// response, in proportion to the pull: see redistribution. Wind builds up over the
// ship's length in many seconds; it is measured or has another shape.
//
// Metres and seconds. Source: Newton's second law, innovations and whitening as in
// any textbook of estimation; the figures are common practice, no source.
type innovations struct {
	Modes   [modes]modeFilter
	History [historySteps][modes]float64 // m
	Cov     [modes][modes]float64        // m², lower half
	Count   float64                      // innovations in Cov
	NIS     [nisWindow]float64           // normalised innovation squared, mean 1 over the modes
}

// modeFilter is the filter of one mode.
type modeFilter struct {
	Tracker  tracker
	Response [inputs]tracker // of the filter to each input alone
	Coef     [inputs]float64
	CoefCov  [inputs * inputs]float64

	Residuals    [arOrder]float64 // of the last steps, newest first, m
	PastResponse [arOrder][inputs]float64
	AR           [arOrder]float64 // autoregression coefficients
	ARCov        [arOrder * arOrder]float64

	Var   float64 // of the innovations, m²
	Steps float64
}

// The inputs of a mode: the pull of the lines in each mode, the wind averaged over
// the ship's length and at once, the fenders, the position in each mode, the speed.
const (
	inputLines      = 0
	inputLaggedWind = modes
	inputWind       = modes + 1
	inputFenders    = modes + 2
	inputPos        = modes + 3
	inputSpeed      = 2*modes + 3
	inputs          = 2*modes + 4
)

const (
	arOrder          = 12   // steps
	innovationTau    = 6    // s; time constant of the filter
	responseSteps    = 25   // longest time after a step change at which it is looked for
	innovationWindow = 600  // steps over which variances are taken, five minutes
	coefMemory       = 3e5  // steps after which a coefficient without new information is back at its prior variance, two days
	innovationWarmup = 20   // steps before the first update
	innovationClip   = 4    // standard deviations; the largest error that an update uses
	innovationFloor  = 3e-4 // m; least standard deviation of an innovation
)

// Prior standard deviations of the coefficients. The unit is 0.01/s² for position
// and 0.1/s for speed.
const (
	sdOwnLines   = 0.3
	sdCrossLines = 0.1
	sdWind       = 0.5
	sdFenders    = 0.5
	sdPos        = 0.3
	sdSpeed      = 0.5
	sdAR         = 0.3
)

// update takes a step, numbered from when the position was last unknown.
func (in *innovations) update(at *stepState, meanPos *[modes]float64, step int64) {
	for m := range modes {
		f := &in.Modes[m]
		if step == 0 {
			f.reset(m, at.Pos[m])
		}
		in.History[step%historySteps][m] = f.step(m, at, meanPos)
	}
	if step >= innovationWarmup+responseSteps {
		in.updateCov(step)
	}
}

// reset starts from a ship at rest at this position, m. The coefficients are kept.
func (f *modeFilter) reset(m int, pos float64) {
	f.Tracker, f.Response, f.Steps = tracker{Pos: pos}, [inputs]tracker{}, 0
	f.Residuals, f.PastResponse = [arOrder]float64{}, [arOrder][inputs]float64{}
	if f.Var != 0 {
		return
	}
	f.Var = 1e-5
	f.Coef = [inputs]float64{inputLaggedWind: 0.5, inputWind: 0.5, inputFenders: 1}
	f.Coef[inputLines+m] = 1
	for k := range inputs {
		sd := priorSD(m, k)
		f.CoefCov[k*inputs+k] = sd * sd
	}
	for k := range arOrder {
		f.ARCov[k*arOrder+k] = sdAR * sdAR
	}
}

// priorSD is the prior standard deviation of input k's coefficient in mode m.
func priorSD(m, k int) float64 {
	switch {
	case k == m:
		return sdOwnLines
	case k < modes:
		return sdCrossLines
	case k < inputFenders:
		return sdWind
	case k < inputPos:
		return sdFenders
	case k < inputSpeed:
		return sdPos
	default:
		return sdSpeed
	}
}

// step returns the innovation of this step, m.
func (f *modeFilter) step(m int, at *stepState, meanPos *[modes]float64) (innovation float64) {
	u := [inputs]float64{inputLaggedWind: at.Forcing[forceLaggedWind][m], inputWind: at.Forcing[forceWind][m], inputFenders: at.Forcing[forceFenders][m],
		inputSpeed: -0.1 * f.Tracker.Speed}
	for k := range modes {
		u[inputLines+k] = at.Forcing[forceLines][k]
		u[inputPos+k] = -0.01 * (at.Pos[k] - meanPos[k])
	}
	residual := f.Tracker.update(at.Pos[m], 0)
	var response [inputs]float64
	for k := range response {
		response[k] = -f.Response[k].update(0, u[k])
		residual -= f.Coef[k] * response[k]
	}
	innovation = residual
	for k, a := range f.AR {
		innovation -= a * f.Residuals[k]
	}
	f.Steps++
	if f.Steps > innovationWarmup {
		f.update(m, innovation, response)
	}
	copy(f.Residuals[1:], f.Residuals[:])
	copy(f.PastResponse[1:], f.PastResponse[:])
	f.Residuals[0], f.PastResponse[0] = residual, response
	return innovation
}

// update corrects the autoregression and then the input coefficients, whose
// regressors are the responses whitened by the autoregression.
func (f *modeFilter) update(m int, innovation float64, response [inputs]float64) {
	n := f.Steps - innovationWarmup
	if n > 100 {
		limit := innovationClip * math.Sqrt(f.Var)
		innovation = max(-limit, min(innovation, limit))
	}
	sd := math.Sqrt(f.Var) + innovationFloor
	var scratch [max(arOrder, inputs)]float64
	rlsUpdate(f.AR[:], f.ARCov[:], f.Residuals[:], scratch[:arOrder], innovation, sd)
	for j, a := range f.AR {
		for k := range response {
			response[k] -= a * f.PastResponse[j][k]
		}
	}
	rlsUpdate(f.Coef[:], f.CoefCov[:], response[:], scratch[:inputs], innovation, sd)
	for k := range inputs {
		d := priorSD(m, k)
		f.CoefCov[k*inputs+k] = min(f.CoefCov[k*inputs+k]+d*d/coefMemory, d*d)
	}
	for k := range arOrder {
		f.ARCov[k*arOrder+k] = min(f.ARCov[k*arOrder+k]+sdAR*sdAR/coefMemory, sdAR*sdAR)
	}
	f.Var += (innovation*innovation - f.Var) / min(n, innovationWindow)
}
