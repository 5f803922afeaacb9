package mooring

import "math"

const (
	// airDensity in t/m³, so that with metres and seconds forces are kN. 1.225
	// kg/m³: mooring equipment guidelines' 60 knots then make 583.6 Pa.
	airDensity = 1.225e-3
	// sideCoefficient is C_yw of UFC 4-159-03 eq. (3), 0.92 ± 0.1, from memory, at
	// the wind of the reference height.
	sideCoefficient = 0.92
	// endCoefficient is C_xw of UFC 4-159-03 for ships that are not mostly hull,
	// from memory. Hull-dominated ships have 0.40, so for them it errs high.
	endCoefficient = 0.7
)

// WindForce is the steady force of wind on the ship at her reference drafts:
// speed in m/s at 10 m, the direction it comes from in degrees true.
func (p *Plan) WindForce(speedMS, fromDeg float64) Force {
	e := Environment{Plan: p}
	return e.Wind(speedMS, fromDeg)
}

// Wind is the steady force of wind on the ship: speed in m/s at 10 m, the
// direction it comes from in degrees true.
//
// The published forms are those of UFC 4-159-03 for ships of ordinary shape,
// derived from wind tunnels up to some 35 m/s at full size: across, eq. (2) and
// (5), from memory; along, eq. (6) with no net force from abeam. The moment's arm
// is by Hughes' rule, from memory.
func (e *Environment) Wind(speedMS, fromDeg float64) Force {
	p := e.Plan
	bow := p.offBow(fromDeg)
	pressure := airDensity / 2 * speedMS * speedMS
	higher := p.referenceDraftM() - e.draftM()
	side := max(0, p.Ship.SideWindageM2+higher*p.Ship.LoaM)
	end := max(0, p.Ship.EndWindageM2+higher*p.Ship.BeamM)
	if by := p.Ship.WindBy; by != nil {
		ahead, toPort, turn := by.At(bow)
		return p.onShip(pressure*end*ahead, pressure*side*toPort, pressure*side*p.Ship.LoaM*turn)
	}
	sin, cos := math.Sincos(bow)
	shape := (sin - math.Sin(5*bow)/20) / (1 - 1./20)
	toPort := pressure * sideCoefficient * side * shape
	if p.Ship.Windage != nil {
		toPort *= p.Ship.Windage.Factor()
	}
	off := math.Abs(bow) * 180 / math.Pi // 0 ahead to 180 astern, either side
	// The centre of pressure lies 0.291 + 0.0023 deg⁻¹ of the length abaft the bow.
	arm := p.Ship.LoaM * (0.5 - 0.291 - 0.0023*off)
	return p.onShip(-pressure*endCoefficient*end*cos, toPort, arm*toPort)
}

// Windage is a ship's side above water in two parts, the hull and what stands on
// it, with their heights above water: the higher up, the more wind.
type Windage struct {
	HullM2, HullTopM   float64
	HouseM2, HouseTopM float64 // superstructure, deck cargo; from the hull's top up
}

// Factor is how much more force the side takes than at the wind of 10 m: UFC
// 4-159-03 eq. (3) and (4), from memory, the wind's square growing as height to
// 2/7.
func (w *Windage) Factor() float64 {
	area := w.HullM2 + w.HouseM2
	if !(area > 0) {
		return 1
	}
	return (math.Pow((w.HouseTopM+w.HullTopM)/2/10, 2./7)*w.HouseM2 +
		math.Pow(w.HullTopM/2/10, 2./7)*w.HullM2) / area
}
