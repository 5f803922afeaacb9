package detect

// keptSteps are the newest steps as the predictors were given them, but for what the
// fenders did: that is known later, when it is known where they touch her. Seen from the
// fender face.
type keptSteps struct {
	Count int64 // since the position was last unknown
	Steps [stepsKept][keptFigures]float32
}

const (
	stepsKept    = 768                        // over six minutes
	keptForcings = 3                          // lines, lagged wind, wind
	keptFigures  = (1 + keptForcings) * modes // position, m; forcings, m/s²
)

// add keeps a step.
func (k *keptSteps) add(at *stepState) {
	to := k.Steps[k.Count%stepsKept][:0] // in place
	for _, v := range at.Pos {
		to = append(to, float32(v))
	}
	for _, forcing := range at.Forcing[:keptForcings] {
		for _, v := range forcing {
			to = append(to, float32(v))
		}
	}
	k.Count++
}

// ago is the step n before the newest.
func (k *keptSteps) ago(n int64) (at stepState) {
	from := &k.Steps[(k.Count-1-n)%stepsKept]
	for m := range modes {
		at.Pos[m] = float64(from[m])
		for p := range keptForcings {
			at.Forcing[p][m] = float64(from[(1+p)*modes+m])
		}
	}
	return at
}

// amend adds an acceleration by the lines to the step n before the newest.
func (k *keptSteps) amend(n int64, accel *[modes]float64) {
	if n >= min(k.Count, stepsKept) {
		return
	}
	for m, v := range accel {
		k.Steps[(k.Count-1-n)%stepsKept][modes+m] += float32(v)
	}
}

// relearn goes through the steps kept once more, with the fenders where they are known to
// be now: positions are predicted anew, and errors and innovations have the covariance that
// they would have had. The coefficients learnt so far are kept.
func (b *Berth) relearn() {
	m := &b.state.Motion
	n := m.Predictors[face].Steps
	if kept := min(m.Kept.Count, stepsKept); n > kept { // a whole number of rounds less: rings keep their phase
		n -= (n - kept + historySteps - 1) / historySteps * historySteps
	}
	for c := range m.Predictors {
		pr := &m.Predictors[c]
		pr.Steps, pr.Count, pr.Innovations.Count = 0, 0, 0
		for ago := n - 1; ago >= 0; ago-- {
			at := m.Kept.ago(ago)
			at.Forcing[forceFenders] = b.fenderForcing(&at.Pos)
			pr.step(b.stepAbout(c, &at), &b.errorChols[c])
		}
	}
}
