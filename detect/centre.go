package detect

import "hawser/detect/mooring"

// About which centre the ship turns is not told. Her own centre of mass lies about half
// her beam off the fender face. Seen from the face, where the plan has y = 0, a ship that
// turns about it surges as she swings, and lines that pull her ahead swing her too; one
// that turns about fenders which grip her does neither. About the wrong centre surge and
// yaw are predicted worse, and the loss of a small pull is drowned.
//
// So her movements are predicted about both, and the predictions that have proved
// likelier are used (see compareCentres). Whatever centre is not named is the face.
const (
	face    = iota // of the fenders: y = 0
	inboard        // half her beam from it
	centres
)

// The figures are common practice, no source.
const (
	centreMemory = 3600 // steps over which likelihoods are summed, half an hour
	centreLLR    = 50   // from which a centre is taken: the errors of maxHorizon steps overlap, so this is two for independent ones
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

// compareCentres takes the centre whose predictions have been likelier. Each predictor
// gives every step the density of its errors by the covariance that was known before
// them; the logarithm of the ratio of the two is summed with exponential forgetting, the
// prequential Bayes factor. A movement about one centre is that about the other sheared,
// which leaves volumes as they are, so densities compare. Source: textbooks of Bayesian
// model comparison.
func (m *motion) compareCentres(logDensity *[centres]float64) {
	m.CentreLLR += logDensity[inboard] - logDensity[face] - m.CentreLLR/centreMemory
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

// stepAbout is a step as seen from a centre. What the wind does is told about her own
// centre already.
func (b *Berth) stepAbout(centre int, at *stepState) stepState {
	out := *at
	out.Pos = b.about(centre, at.Pos)
	out.Forcing[forceLines] = b.accelAbout(centre, at.Forcing[forceLines])
	return out
}

// spanAgo is the span of the motion record that ended n spans before the newest, as seen
// from the centre in use.
func (b *Berth) spanAgo(n int64) span {
	out, centre := *b.state.Motion.Record.ago(n), b.state.Motion.Centre
	out.Pos = b.about(centre, out.Pos)
	out.Forcing[forceLines] = b.accelAbout(centre, out.Forcing[forceLines])
	return out
}

// accelAbout is an acceleration by the lines, m/s², as seen from a centre: their moment
// is another.
func (b *Berth) accelAbout(centre int, accel [modes]float64) [modes]float64 {
	mass := b.masses()
	accel[2] += b.levers[centre] * accel[0] * mass[0] / mass[2]
	return accel
}

// pullAbout is the direction in which 1 kN in line i pulls the ship, about a centre.
func (b *Berth) pullAbout(centre, i int) [modes]float64 {
	pull := b.models[i].Pull
	pull[2] += b.levers[centre] * pull[0]
	return pull
}

// pullAccel is the ship's acceleration about a centre by a load of line i, m/s².
func (b *Berth) pullAccel(centre, i int, load float64) (accel [modes]float64) {
	mass, pull := b.masses(), b.pullAbout(centre, i)
	for m := range modes {
		accel[m] = load * pull[m] / mass[m]
	}
	return accel
}
