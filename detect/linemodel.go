package detect

import (
	"math"

	"hawser/detect/mooring"
)

// lineModel is how a line answers to the ship's movements: its law, and its geometry
// from the plan. Stiffness rises with load and differs from line to line; stretch
// does not depend on it, so the lines are compared in metres of stretch.
type lineModel struct {
	// Jacobian is how far a movement stretches the line: metres per metre of surge,
	// of sway, and of yaw about amidships at the fender face, measured as metres of
	// swing at yawArm.
	Jacobian [modes]float64
	// Pull is the direction in which 1 kN in the line pulls the ship, in the same
	// coordinates.
	Pull     [modes]float64
	AftShare float64 // weight of the after draft at the fairlead; the rest is the fore draft's

	law                 mooring.Law
	mbl                 float64 // kN
	unstretched         float64 // length, m
	runXY2              float64 // square of the run's horizontal length, m²
	runZ                float64 // from fairlead to hook, positive up, m
	run                 float64 // fairlead to hook, m; 0 for a line that has no effect
	pretensionStiffness float64 // kN/m
}

const modes = 3

// yawArm is the lever in metres that makes yaw a length comparable to the others.
func yawArm(s *mooring.Ship) float64 { return max(s.LoaM/4, 1) }

// lineModels are those of every line of the plan. Lines are straight; the ship's
// horizontal movements are small beside them, her rise need not be. Moments are taken
// about the fender face; for movements that her inertia governs see centre.go.
func lineModels(p *mooring.Plan) []lineModel {
	arm := yawArm(&p.Ship)
	amidships, _ := p.Centre()
	out := make([]lineModel, len(p.Lines))
	for i := range p.Lines {
		l := &p.Lines[i]
		dx, dy, dz := l.Hook.X-l.Fairlead.X, l.Hook.Y-l.Fairlead.Y, l.Hook.Z-l.Fairlead.Z
		run := math.Sqrt(dx*dx + dy*dy + dz*dz)
		if run == 0 || l.MBLkN == 0 {
			continue
		}
		ux, uy := dx/run, dy/run
		pull := [modes]float64{ux, uy, ((l.Fairlead.X-amidships)*uy - l.Fairlead.Y*ux) / arm}
		out[i] = lineModel{Pull: pull, law: mooring.NewLaw(p, i), mbl: l.MBLkN, runXY2: dx*dx + dy*dy, runZ: dz, run: run}
		out[i].unstretched = out[i].law.UnstretchedM(l.PretensionKN, run+l.InboardM)
		_, out[i].pretensionStiffness = out[i].stretch(l.PretensionKN)
		for m := range pull {
			out[i].Jacobian[m] = -pull[m]
		}
		if p.Ship.LoaM > 0 {
			out[i].AftShare = min(max(0.5-(l.Fairlead.X-amidships)/p.Ship.LoaM, 0), 1)
		}
	}
	return out
}

// stretchAtRise is how much longer the line's run is with its fairlead higher by
// rise, m.
func (lm *lineModel) stretchAtRise(rise float64) float64 {
	dz := lm.runZ - rise
	return math.Sqrt(lm.runXY2+dz*dz) - lm.run
}

// stretchPerRise is the growth of the run for each metre that the fairlead rises.
func (lm *lineModel) stretchPerRise(rise float64) float64 {
	dz := lm.runZ - rise
	return -dz / math.Sqrt(lm.runXY2+dz*dz)
}

// stretch is how far a load in kN stretches the line, m, and the stiffness there,
// kN/m. A load below zero is extrapolated with the stiffness of a line just taut.
func (lm *lineModel) stretch(load float64) (m, stiff float64) {
	m, compliance := lm.law.StretchM(max(load, 0), lm.unstretched)
	if load < 0 {
		m = load * compliance
	}
	return m, 1 / compliance
}

// loadAt is the inverse of stretch, kN: the load at a stretch of m metres, found by
// Newton's method from a nearby point of the law: the load and stiffness at `at`
// metres. A line cannot push. The error is under a thousandth of MBL.
func (lm *lineModel) loadAt(m, load, at, stiff float64) float64 {
	if m <= 0 {
		return 0
	}
	for range 4 {
		step := (m - at) * stiff
		load = max(load+step, 0)
		if math.Abs(step) < 0.005*lm.mbl { // convergence is quadratic
			break
		}
		at, stiff = lm.stretch(load)
	}
	return load
}
