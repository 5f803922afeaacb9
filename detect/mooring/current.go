package mooring

import "math"

const (
	// waterDensity of the sea in t/m³, and its kinematic viscosity at 15 °C, m²/s;
	// textbooks, from memory.
	waterDensity   = 1.025
	waterViscosity = 1.19e-6
	// midshipFull is the share of beam times draft that the midship section fills,
	// for merchant ships: common practice, no source.
	midshipFull = 0.98
	// cargoPropeller is the ratio of length times beam to the area of a cargo
	// ship's propeller, UFC 4-159-03 Table 4-7; a tanker's is 270, less force.
	cargoPropeller = 240
	// keelClear is the depth by draft where the depth is not known.
	keelClear = 1.1
)

// Current is the steady force of the current on the ship: speed in m/s, and the
// direction it sets toward, the trade's way of giving it, in degrees true. A
// current from the south sets 000.
//
// The published forms are those of UFC 4-159-03: across, eq. (9) to (13), for
// currents up to 1.5 m/s; along, form, friction and a propeller held still, eq.
// (16) to (21). The moment is eq. (24) and (25) with the figures for a full cargo
// ship, from memory. The length is that over all, a little more than that on the
// waterline. A quay that shelters her or blocks the flow is left out.
func (e *Environment) Current(speedMS, setDeg float64) Force {
	p := e.Plan
	bow := p.offBow(setDeg + 180)
	pressure := waterDensity / 2 * speedMS * speedMS
	draft := e.draftM()
	if !(draft > 0) {
		return Force{}
	}
	if by := p.Ship.CurrentBy; by != nil {
		ahead, toPort, turn := by.At(bow)
		side := p.Ship.LoaM * draft
		return p.onShip(pressure*p.Ship.BeamM*draft*ahead, pressure*side*toPort, pressure*side*p.Ship.LoaM*turn)
	}
	h := e.hull(draft)
	sin, cos := math.Sincos(bow)
	ratio := 1 / keelClear
	if e.DepthM > 0 {
		ratio = min(draft/e.DepthM, 1)
	}
	toPort := pressure * h.lengthM * draft * h.broadside(ratio) * sin
	form, friction, propeller := h.along(speedMS*math.Abs(cos), cargoPropeller)
	ahead := -pressure * (form + friction + propeller) * cos
	off := math.Abs(bow) * 180 / math.Pi
	arm := h.lengthM * (0.291 - 0.00353*off) // toward where the current comes from
	return p.onShip(ahead, toPort, arm*toPort)
}

// hull is a ship below water.
type hull struct {
	lengthM, beamM, draftM float64
	volumeM3               float64 // displaced
	midshipM2              float64 // the area of the section amidships
}

// hull is the plan's at a mean draft: displacement goes with draft.
func (e *Environment) hull(draftM float64) hull {
	s := &e.Plan.Ship
	h := hull{lengthM: s.LoaM, beamM: s.BeamM, draftM: draftM,
		volumeM3: s.DisplacementT / waterDensity, midshipM2: midshipFull * s.BeamM * draftM}
	if at := e.Plan.referenceDraftM(); at > 0 {
		h.volumeM3 *= draftM / at
	}
	return h
}

// broadside is the coefficient of the current from abeam on length times draft,
// by draft over depth, 0 to 1: UFC 4-159-03 eq. (11) to (13), with the exponent
// of most model tests. The root in eq. (12) is from memory.
func (h *hull) broadside(draftOverDepth float64) float64 {
	const shallow = 3.2
	deep := shallow
	if h.volumeM3 > 0 {
		slender := h.lengthM * h.lengthM * h.midshipM2 / (h.beamM * h.volumeM3)
		deep = min(0.22*math.Sqrt(slender), shallow)
	}
	return deep + (shallow-deep)*draftOverDepth*draftOverDepth
}

// along is the drag of a current along the ship, as areas that the pressure of
// the flow works on, m²: UFC 4-159-03 eq. (16), (17) to (20) and (21), for a
// current of this speed along her, m/s, and a propeller of this area ratio. The
// propeller's coefficient of 1 and the blade share 0.838 are from memory.
func (h *hull) along(speedMS, propellerRatio float64) (form, friction, propeller float64) {
	form = 0.1 * h.beamM * h.draftM
	wetted := 1.7*h.draftM*h.lengthM + h.volumeM3/h.draftM
	reynolds := max(speedMS*h.lengthM/waterViscosity, 1e5) // slower counts for nothing
	root := math.Log10(reynolds) - 2
	friction = wetted * 0.075 / (root * root)
	propeller = h.lengthM * h.beamM / (propellerRatio * 0.838)
	return form, friction, propeller
}
