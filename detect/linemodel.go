package detect

import (
	"math"

	"hawser/detect/mooring"
)

// lever is how a line answers to the ship's moves: its law, and how much further
// each move draws it out, metres per metre of surge, of sway, and of yaw measured
// as metres of swing at yawArm from midships. Loads stiffen a line and no two
// lines alike; the way it is drawn out does not ask for its stiffness, so what
// the lines say of the ship is put together in metres.
type lineModel struct {
	Jacobian [modes]float64
	// Pull is the direction in which 1 kN in the line pulls the ship, in the
	// same coordinates.
	Pull     [modes]float64
	AftShare float64 // weight of the after draft at the fairlead; the rest is the fore draft's

	law                 mooring.Law
	mbl                 float64 // kN
	unstretched         float64 // unstretched length, m
	runXY2              float64 // square of the run's horizontal length, m²
	runZ                float64 // from fairlead to hook, positive up, m
	run                 float64 // fairlead to hook, m; 0 for a line that does nothing
	pretensionStiffness float64 // at pretension, kN/m
}

const modes = 3

// yawArm makes yaw a length of the size of the others.
func yawArm(s *mooring.Ship) float64 { return max(s.LoaM/4, 1) }

// levers are those of every line of the plan. Lines are straight; the ship's
// horizontal moves are small beside them, her rise need not be.
func lineModels(p *mooring.Plan) []lineModel {
	arm := yawArm(&p.Ship)
	out := make([]lineModel, len(p.Lines))
	for i := range p.Lines {
		l := &p.Lines[i]
		dx, dy, dz := l.Hook.X-l.Fairlead.X, l.Hook.Y-l.Fairlead.Y, l.Hook.Z-l.Fairlead.Z
		run := math.Sqrt(dx*dx + dy*dy + dz*dz)
		if run == 0 || l.MBLkN == 0 {
			continue
		}
		ux, uy := dx/run, dy/run
		pull := [modes]float64{ux, uy, (l.Fairlead.X*uy - l.Fairlead.Y*ux) / arm}
		out[i] = lineModel{Pull: pull, law: mooring.NewLaw(p, i), mbl: l.MBLkN, runXY2: dx*dx + dy*dy, runZ: dz, run: run}
		out[i].unstretched = out[i].law.UnstretchedM(l.PretensionKN, run+l.InboardM)
		_, out[i].pretensionStiffness = out[i].stretch(l.PretensionKN)
		for m := range pull {
			out[i].Jacobian[m] = -pull[m]
		}
		if p.Ship.LoaM > 0 {
			out[i].AftShare = min(max(0.5-l.Fairlead.X/p.Ship.LoaM, 0), 1)
		}
	}
	return out
}

// drawn is how much longer the line's run is with its fairlead higher by rise, m.
func (g *lineModel) stretchAtRise(rise float64) float64 {
	dz := g.runZ - rise
	return math.Sqrt(g.runXY2+dz*dz) - g.run
}

// lifted is the growth of the run for each metre that the fairlead rises.
func (g *lineModel) stretchPerRise(rise float64) float64 {
	dz := g.runZ - rise
	return -dz / math.Sqrt(g.runXY2+dz*dz)
}

// stretch is how far a load draws the line out, m, and the stiffness there,
// kN/m. What a pin reads below nothing counts as a line just taut would.
func (g *lineModel) stretch(load float64) (m, stiff float64) {
	m, give := g.law.StretchM(max(load, 0), g.unstretched)
	if load < 0 {
		m = load * give
	}
	return m, 1 / give
}

// load is the inverse of stretch from a known point of the law nearby: the load
// at m metres where the load at `at` metres and the stiffness there are known.
// A line cannot push. Newton's steps; what is left is under a thousandth of MBL.
func (g *lineModel) loadAt(m, load, at, stiff float64) float64 {
	if m <= 0 {
		return 0
	}
	for range 4 {
		step := (m - at) * stiff
		load = max(load+step, 0)
		if math.Abs(step) < 0.005*g.mbl { // the rest goes with its square
			break
		}
		at, stiff = g.stretch(load)
	}
	return load
}
