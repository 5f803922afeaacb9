package detect

import "math"

// Swerves tells the ship's place half a second ahead from all that is known to
// push her, and keeps what she then does otherwise. In each mode (surge, sway,
// yaw) a steady filter follows her place by Newton's second law,
//
//	acceleration = Σ weight · known push + what it has been of late otherwise
//
// with lines and wind for pushes, her distance from her usual place and her speed
// for what holds and slows her. The filter is linear, so how much each push is
// worth is learnt by least squares from its own answer to that push. What is left
// echoes: waves come again, pins err alike for a while. So it is told once more,
// from what was left in the last six seconds; what then remains, her swerve, is as
// good as independent from one look to the next, and a few minutes tell how large
// and how alike swerves usually are.
//
// A pull that is lost from one moment to the next makes swerves in a known pattern,
// the filter's answer to a step, in proportion to the pull: see redistribution.
// Wind comes over the ship in many seconds, and is known of or makes another
// pattern. Metres, seconds. Source: Newton's second law, innovations and whitening
// as in any textbook of estimation; the figures are common practice, no source.
// Exported for the snapshot's encoder only.
type innovations struct {
	Modes   [modes]modeFilter
	History [historySteps][modes]float64 // m
	Cov     [modes][modes]float64        // m², lower half
	Count   float64
	NIS     [nisWindow]float64 // sizes of the last swerves by what is usual, 1 where as usual
}

// heading is one mode.
type modeFilter struct {
	Tracker  tracker
	Response [inputs]tracker // what the filter would answer to each push alone
	Gain     [inputs]float64
	GainCov  [inputs * inputs]float64

	Residuals    [arOrder]float64 // of the last looks, newest first
	PastResponse [arOrder][inputs]float64
	AR           [arOrder]float64
	ARCov        [arOrder * arOrder]float64

	Var   float64 // of swerves, m²
	Steps float64
}

// What sways a mode: the lines' push on it and on the others, the wind, her place
// in all modes, her speed.
const (
	inputLines      = 0
	inputLaggedWind = modes
	inputWind       = modes + 1
	inputPos        = modes + 2
	inputSpeed      = 2*modes + 2
	inputs          = 2*modes + 3
)

const (
	arOrder          = 12
	innovationTau    = 6    // s; time constant of the filter
	responseSteps    = 25   // looks that a step is looked for
	innovationWindow = 600  // looks over which sizes are taken, five minutes
	coefMemory       = 3e5  // looks after which what no lesson has borne out is worth nothing, two days
	innovationWarmup = 20   // looks before lessons
	innovationClip   = 4    // standard deviations, the most that a lesson is worth
	innovationFloor  = 3e-4 // m; no swerve is known better
)

// doubts are how far the worth of each push may be from what is thought at first.
// Place counts by 0.01/s², speed by 0.1/s.
const (
	sdOwnLines   = 0.3
	sdCrossLines = 0.1
	sdWind       = 0.5
	sdPos        = 0.3
	sdSpeed      = 0.5
	sdAR         = 0.3
)

// follower follows a place with its speed and acceleration.
type tracker struct{ Pos, Speed, Accel float64 }

// step takes a place and the acceleration known of, and gives how far off the
// place was told. Three like poles, time constant swerveTau.
func (t *tracker) update(place, push float64) (off float64) {
	const th = 0.9200444146293233 // exp(-lookTime/swerveTau)
	const (
		k1 = 1 - th*th*th
		k2 = 1.5 * (1 - th) * (1 - th) * (1 + th) / stepPeriod
		k3 = (1 - th) * (1 - th) * (1 - th) / (stepPeriod * stepPeriod)
	)
	a := push + t.Accel
	t.Pos += t.Speed*stepPeriod + a*stepPeriod*stepPeriod/2
	t.Speed += a * stepPeriod
	off = place - t.Pos
	t.Pos, t.Speed, t.Accel = t.Pos+k1*off, t.Speed+k2*off, t.Accel+k3*off
	return off
}

// stepAnswer is how far off the filter is in the looks after a push of 1 m/s²
// that begins at once and lasts.
func newStepResponse() (g [responseSteps]float64) {
	var t tracker
	var place, speed float64
	for k := range g {
		place += speed*stepPeriod + stepPeriod*stepPeriod/2
		speed += stepPeriod
		g[k] = t.update(place, 0)
	}
	return g
}

// swerve takes a look, by its number since her place was last not known.
func (s *innovations) update(at *stepState, usual *[modes]float64, look int64) {
	for m := range modes {
		h := &s.Modes[m]
		if look == 0 {
			h.reset(m, at.Pos[m])
		}
		s.History[look%historySteps][m] = h.step(m, at, usual)
	}
	if look >= innovationWarmup+responseSteps {
		s.updateCov(look)
	}
}

// begin begins with the ship at rest in this place; what was learnt still holds.
func (h *modeFilter) reset(m int, place float64) {
	h.Tracker, h.Response, h.Steps = tracker{Pos: place}, [inputs]tracker{}, 0
	h.Residuals, h.PastResponse = [arOrder]float64{}, [arOrder][inputs]float64{}
	if h.Var != 0 {
		return
	}
	h.Var = 1e-5
	h.Gain = [inputs]float64{inputLaggedWind: 0.5, inputWind: 0.5}
	h.Gain[inputLines+m] = 1
	for k := range inputs {
		d := priorSD(m, k)
		h.GainCov[k*inputs+k] = d * d
	}
	for k := range arOrder {
		h.ARCov[k*arOrder+k] = sdAR * sdAR
	}
}

func priorSD(m, k int) float64 {
	switch {
	case k == m:
		return sdOwnLines
	case k < modes:
		return sdCrossLines
	case k < inputPos:
		return sdWind
	case k < inputSpeed:
		return sdPos
	default:
		return sdSpeed
	}
}

// look is the swerve of this look.
func (h *modeFilter) step(m int, at *stepState, usual *[modes]float64) (off float64) {
	push := [inputs]float64{inputLaggedWind: at.Forcing[forceLaggedWind][m], inputWind: at.Forcing[forceWind][m], inputSpeed: -0.1 * h.Tracker.Speed}
	for k := range modes {
		push[inputLines+k] = at.Forcing[forceLines][k]
		push[inputPos+k] = -0.01 * (at.Pos[k] - usual[k])
	}
	left := h.Tracker.update(at.Pos[m], 0)
	var by [inputs]float64
	for k := range by {
		by[k] = -h.Response[k].update(0, push[k])
		left -= h.Gain[k] * by[k]
	}
	off = left
	for k, w := range h.AR {
		off -= w * h.Residuals[k]
	}
	h.Steps++
	if h.Steps > innovationWarmup {
		h.update(m, off, by)
	}
	copy(h.Residuals[1:], h.Residuals[:])
	copy(h.PastResponse[1:], h.PastResponse[:])
	h.Residuals[0], h.PastResponse[0] = left, by
	return off
}

// learn takes the lesson of a swerve: first of the echoes, then of what the pushes,
// told with their echoes, are worth.
func (h *modeFilter) update(m int, off float64, by [inputs]float64) {
	n := h.Steps - innovationWarmup
	if n > 100 {
		most := innovationClip * math.Sqrt(h.Var)
		off = max(-most, min(off, most))
	}
	noise := math.Sqrt(h.Var) + innovationFloor
	var scratch [max(arOrder, inputs)]float64
	rlsUpdate(h.AR[:], h.ARCov[:], h.Residuals[:], scratch[:arOrder], off, noise)
	for e, w := range h.AR {
		for k := range by {
			by[k] -= w * h.PastResponse[e][k]
		}
	}
	rlsUpdate(h.Gain[:], h.GainCov[:], by[:], scratch[:inputs], off, noise)
	for k := range inputs {
		d := priorSD(m, k)
		h.GainCov[k*inputs+k] = min(h.GainCov[k*inputs+k]+d*d/coefMemory, d*d)
	}
	for k := range arOrder {
		h.ARCov[k*arOrder+k] = min(h.ARCov[k*arOrder+k]+sdAR*sdAR/coefMemory, sdAR*sdAR)
	}
	h.Var += (off*off - h.Var) / min(n, innovationWindow)
}

// lesson is one of recursive least squares: with these x the sum was short by off,
// known to noise. p is the covariance of w, row by row.
func rlsUpdate(w, p, x, px []float64, off, noise float64) {
	n := len(w)
	scale := noise * noise
	for i := range n {
		row := p[i*n : i*n+n]
		px[i] = 0
		for j, v := range x {
			px[i] += row[j] * v
		}
		scale += px[i] * x[i]
	}
	for i := range n {
		gain := px[i] / scale
		w[i] += gain * off
		row := p[i*n : i*n+n]
		for j := range row {
			row[j] -= gain * px[j]
		}
	}
}
