package detect

import "math"

// updateForcing sets the accelerations that lines, wind and fenders give the ship, and
// records for each line the change of its pull that her movement does not explain.
func (b *Berth) updateForcing(now moment, at *stepState) {
	pr := &b.state.Motion.Predictors[face]
	mass := b.masses()
	var move [modes]float64
	if pr.Steps > 0 {
		was := &pr.History[(pr.Steps-1)%historySteps].Pos
		for k := range modes {
			move[k] = at.Pos[k] - was[k]
		}
	}
	for i := range b.state.Lines {
		b.updatePull(now, i, &move)
		l, lm := &b.state.Lines[i], &b.models[i]
		l.OwnChange[pr.Steps%historySteps] = l.Pull - b.loadChange(i, &at.Pos)
		for k := range modes {
			at.Forcing[forceLines][k] += l.Pull * lm.Pull[k] / mass[k]
		}
	}
	b.updateWindForcing(now, &mass)
	w := &b.state.Wind
	at.Forcing[forceLaggedWind], at.Forcing[forceWind] = w.Forcing[forceLaggedWind], w.Forcing[forceWind]
	at.Forcing[forceFenders] = b.fenderForcing(&at.Pos)
}

// updatePull adds to line i's pull its change since the last step: that of its pin
// or, where there is no pin reading, the change expected from the ship's movement.
// Only changes are added, so that a pin that fails and returns makes no step in the
// force on the ship.
func (b *Berth) updatePull(now moment, i int, move *[modes]float64) {
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
		l.Pull += b.loadChange(i, move)
	}
	l.StepLoad = load
}

// loadChange is the change of line i's load for a small movement of the ship, kN.
func (b *Berth) loadChange(i int, move *[modes]float64) float64 {
	run := b.jacobian(i)
	return b.stiffness(i) * dot(&run, move)
}

// stiffness of line i, kN/m: at its load where that is known, else at its
// pretension.
func (b *Berth) stiffness(i int) float64 {
	if k := b.state.Lines[i].Fit.Stiffness; k > 0 {
		return k
	}
	return b.models[i].pretensionStiffness
}

// masses are the ship's inertia in each mode, tonnes: her displacement and the added
// mass of the water. The factors are common practice, no source; yaw has a radius of
// gyration of a quarter of her length.
func (b *Berth) masses() [modes]float64 {
	d := max(b.plan.Ship.DisplacementT, 1)
	return [modes]float64{1.1 * d, 1.8 * d, 1.6 * d}
}
