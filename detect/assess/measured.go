package assess

import (
	"math"

	"hawser/detect/mooring"
)

// Measured is the mooring whose lines carry measured loads in these conditions;
// a line whose load is NaN carries what its pretension leaves it. The loads alone
// do not tell where the ship lies. She is taken to lie against her fenders as the
// loads and the forces press her, at the reference where they do not. What loads
// and forces leave unbalanced, such as a current that was not given, is returned:
// with it added to the other forces, the ship rests with the loads as measured.
func Measured(p *mooring.Plan, loadsKN []float64, c Conditions) (*Mooring, mooring.Force) {
	const rounds = 8 // the ship moves millimetres after the second
	m := New(p)
	at, loads := c.start(), make([]float64, len(loadsKN))
	var left mooring.Force
	for range rounds {
		m.rig.LineForces(at, m.lengths, loads)
		for i, kN := range loadsKN {
			if !math.IsNaN(kN) {
				loads[i] = kN
			}
		}
		sum := m.Force(c)
		for i, kN := range loads {
			sum = sum.Plus(m.pullOf(i, kN, at))
		}
		at = m.leaning(sum, at)
		push := m.rig.FenderForces(at)
		left = mooring.Force{SurgeKN: -sum.SurgeKN - push.SurgeKN, SwayKN: -sum.SwayKN - push.SwayKN, YawKNm: -sum.YawKNm - push.YawKNm}
	}
	for i, kN := range loadsKN {
		if !math.IsNaN(kN) {
			m.lengths[i] = m.rig.UnstretchedM(i, kN, at)
		}
	}
	m.setAt = at
	return m, left
}

// leaning is where a force presses the ship into her fenders, by Newton's steps in
// sway and yaw from all fenders just pressed: what they do is linear but for those
// that let go. Along the berth they do not hold her.
func (m *Mooring) leaning(force mooring.Force, from mooring.Pose) mooring.Pose {
	const (
		tries  = 30
		stillM = 1e-9
	)
	rest := mooring.Pose{RiseFwdM: from.RiseFwdM, RiseAftM: from.RiseAftM}
	at := rest
	at.SwayM = -0.01
	off := make([]float64, len(m.lengths))
	for i := range off {
		off[i] = math.Inf(1)
	}
	for range tries {
		push := m.rig.FenderForces(at)
		k := m.rig.Stiffness(at, off)
		det := k[1][1]*k[2][2] - k[1][2]*k[1][2]
		if !(det > 1e-9*k[1][1]*k[2][2]) {
			break // one fender alone, or none
		}
		sway, yaw := force.SwayKN+push.SwayKN, force.YawKNm+push.YawKNm
		stepM := (k[2][2]*sway - k[1][2]*yaw) / det
		stepRad := (k[1][1]*yaw - k[1][2]*sway) / det
		at.SwayM += stepM
		at.YawRad += stepRad
		if math.Abs(stepM)+math.Abs(stepRad)*m.plan.Ship.LoaM < stillM {
			return at
		}
	}
	return rest
}

// pullOf is the force on the ship of line i at a load.
func (m *Mooring) pullOf(i int, kN float64, at mooring.Pose) mooring.Force {
	s := m.rig.Span(i, at)
	cx, cy := m.plan.Centre()
	fx, fy := kN*s.Unit.X, kN*s.Unit.Y
	return mooring.Force{SurgeKN: fx, SwayKN: fy,
		YawKNm: (s.Fairlead.X-cx-at.SurgeM)*fy - (s.Fairlead.Y-cy-at.SwayM)*fx}
}
