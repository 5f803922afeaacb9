package detect

import "hawser/detect/mooring"

// About which centre the ship turns is not told. A ship's own centre of mass lies about
// half her beam off the fender face: seen from the face, from which the plan counts,
// she surges as she swings, and lines that pull her ahead swing her too. Held against
// fenders that grip she turns about the face itself. A wrong centre makes surge and yaw
// worse predicted, and small losses are drowned in that.
//
// So the ship's movements are predicted about both centres, and those predictions are used that have
// proved likelier: see compareCentres.
const (
	face    = iota // of the fenders: y = 0 in the plan
	inboard        // half her beam from it
	centres
)

// Figures of the comparison; common practice, no source.
const (
	centreMemory = 3600 // steps, half an hour
	centreLLR    = 50   // from which the other centre is taken; the errors of maxHorizon steps overlap, so it is worth two independent nats
)

// leversOf is how far the centres lie from the fender face, of yawArm.
func leversOf(p *mooring.Plan) (levers [centres]float64) {
	_, y := p.Centre()
	levers[inboard] = y / yawArm(&p.Ship)
	return levers
}

// predictor is that of the likelier centre.
func (b *Berth) predictor() *predictor { return &b.state.Motion.Predictors[b.state.Motion.Centre] }

// errorChol is the factor of its errors' covariance.
func (b *Berth) errorChol() *cholesky { return &b.errorChols[b.state.Motion.Centre] }

// compareCentres takes the centre whose predictions have been likelier: the logarithm
// of the ratio of the densities of the prediction errors, each by the covariance known
// before them, summed with exponential forgetting (the prequential Bayes factor; a
// movement about one centre is one about the other sheared, so the densities are of
// the same volume). Source: as in textbooks of Bayesian model comparison.
func (b *Berth) compareCentres() {
	m := &b.state.Motion
	m.CentreLLR += m.Predictors[inboard].LogDensity - m.Predictors[face].LogDensity - m.CentreLLR/centreMemory
	switch {
	case m.CentreLLR > centreLLR:
		m.Centre = inboard
	case m.CentreLLR < -centreLLR:
		m.Centre = face
	}
}

// about is a movement of the ship as seen from a centre.
func (b *Berth) about(centre int, move [modes]float64) [modes]float64 {
	move[0] -= b.levers[centre] * move[2]
	return move
}

// atFace is a movement about the centre in use as seen from the fender face.
func (b *Berth) atFace(move [modes]float64) [modes]float64 {
	move[0] += b.levers[b.state.Motion.Centre] * move[2]
	return move
}

// stepAbout is a step as seen from a centre. The wind's forces are told about the
// ship's own.
func (b *Berth) stepAbout(centre int, at *stepState) stepState {
	out, mass := *at, b.masses()
	out.Pos = b.about(centre, at.Pos)
	out.Forcing[forceLines][2] += b.levers[centre] * at.Forcing[forceLines][0] * mass[0] / mass[2]
	return out
}

// pullAccel is the ship's acceleration about a centre by a load of line i, m/s².
func (b *Berth) pullAccel(centre, i int, load float64) (accel [modes]float64) {
	mass, pull := b.masses(), b.models[i].Pull
	pull[2] += b.levers[centre] * pull[0]
	for m := range modes {
		accel[m] = load * pull[m] / mass[m]
	}
	return accel
}

// spanAgo is the span of the motion record that ended n spans before the newest, about
// the centre in use.
func (b *Berth) spanAgo(n int64) span {
	out, mass, c := *b.state.Motion.Record.ago(n), b.masses(), b.state.Motion.Centre
	out.Pos = b.about(c, out.Pos)
	out.Forcing[forceLines][2] += b.levers[c] * out.Forcing[forceLines][0] * mass[0] / mass[2]
	return out
}
