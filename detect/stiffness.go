package detect

import (
	"math"

	"hawser/detect/mooring"
)

// breakStrain is a new rope's elongation at its breaking load. From memory, of
// makers' tables; ropes differ by a third either way. The fit needs no more:
// an error common to all lines cancels out.
var breakStrain = [...]float64{
	mooring.SteelWire: 0.02, mooring.HMPE: 0.03, mooring.Aramid: 0.035, mooring.Polyester: 0.12,
	mooring.Polyamide: 0.25, mooring.Polypropylene: 0.18, mooring.Polyolefin: 0.14, mooring.MixedFibre: 0.14,
}

// lever is how a line's load answers to small moves of the ship: kN per metre
// of surge, of sway, and of yaw measured as metres of swing at yawArm from
// midships; and per metre of rise at the line's fairlead.
type lever struct {
	Move [modes]float64
	Rise float64
	// Pull is the direction in which 1 kN in the line pulls the ship, in the
	// same coordinates.
	Pull [modes]float64
	Aft  float64 // weight of the after draft at the fairlead; the rest is the fore draft's
}

const modes = 3

// yawArm makes yaw a length of the size of the others.
func yawArm(s *mooring.Ship) float64 { return max(s.LoaM/4, 1) }

// levers are those of every line of the plan. Lines are straight, rigid moves
// small, elongation linear: a secant is good to some tenths, and the offsets
// learned on line take up what is slow of the rest.
func levers(p *mooring.Plan) []lever {
	arm := yawArm(&p.Ship)
	out := make([]lever, len(p.Lines))
	for i := range p.Lines {
		l := &p.Lines[i]
		dx, dy, dz := l.Hook.X-l.Fairlead.X, l.Hook.Y-l.Fairlead.Y, l.Hook.Z-l.Fairlead.Z
		length := math.Sqrt(dx*dx + dy*dy + dz*dz)
		if length == 0 || l.MBLkN == 0 {
			continue
		}
		main, give := length+l.InboardM, 0.0
		if l.Tail != nil && l.Tail.MBLkN > 0 {
			main -= l.Tail.LengthM
			give = l.Tail.LengthM * breakStrain[l.Tail.Material] / l.Tail.MBLkN
		}
		give += max(main, 1) * breakStrain[l.Material] / l.MBLkN
		k := 1 / give
		ux, uy, uz := dx/length, dy/length, dz/length
		pull := [modes]float64{ux, uy, (l.Fairlead.X*uy - l.Fairlead.Y*ux) / arm}
		out[i] = lever{Pull: pull, Rise: -k * uz}
		for m := range pull {
			out[i].Move[m] = -k * pull[m]
		}
		if p.Ship.LoaM > 0 {
			out[i].Aft = min(max(0.5-l.Fairlead.X/p.Ship.LoaM, 0), 1)
		}
	}
	return out
}
