package detect

import "math"

// trackers estimates position, speed and unexplained acceleration in all modes.
type trackers struct{ Pos, Speed, Accel [modes]float64 }

// update is a step of an alpha-beta-gamma filter with three equal poles, of time
// constant tau in seconds. The wind counts half at once and half lagged.
func (t *trackers) update(pos *[modes]float64, forcing *[forcings][modes]float64, tau float64) {
	th := math.Exp(-stepPeriod / tau)
	k1, k2, k3 := 1-th*th*th, 1.5*(1-th)*(1-th)*(1+th)/stepPeriod, (1-th)*(1-th)*(1-th)/(stepPeriod*stepPeriod)
	for m := range modes {
		a := t.Accel[m] + forcing[forceLines][m] + forcing[forceFenders][m] + (forcing[forceLaggedWind][m]+forcing[forceWind][m])/2
		p := t.Pos[m] + t.Speed[m]*stepPeriod + a*stepPeriod*stepPeriod/2
		v := t.Speed[m] + a*stepPeriod
		e := pos[m] - p
		t.Pos[m], t.Speed[m], t.Accel[m] = p+k1*e, v+k2*e, t.Accel[m]+k3*e
	}
}

// tracker estimates the position, speed and unexplained acceleration of one mode.
type tracker struct{ Pos, Speed, Accel float64 }

// update takes a position, m, and the known acceleration, m/s², and returns the
// position's prediction error, m. The filter is that of trackers, of time constant
// innovationTau.
func (t *tracker) update(pos, accel float64) (e float64) {
	const th = 0.9200444146293233 // exp(-stepPeriod/innovationTau)
	const (
		k1 = 1 - th*th*th
		k2 = 1.5 * (1 - th) * (1 - th) * (1 + th) / stepPeriod
		k3 = (1 - th) * (1 - th) * (1 - th) / (stepPeriod * stepPeriod)
	)
	a := accel + t.Accel
	t.Pos += t.Speed*stepPeriod + a*stepPeriod*stepPeriod/2
	t.Speed += a * stepPeriod
	e = pos - t.Pos
	t.Pos, t.Speed, t.Accel = t.Pos+k1*e, t.Speed+k2*e, t.Accel+k3*e
	return e
}

// newStepResponse is the prediction error of a tracker, m, in the steps after an
// unknown acceleration of 1 m/s² begins and lasts.
func newStepResponse() (g [responseSteps]float64) {
	var t tracker
	var pos, speed float64
	for k := range g {
		pos += speed*stepPeriod + stepPeriod*stepPeriod/2
		speed += stepPeriod
		g[k] = t.update(pos, 0)
	}
	return g
}
