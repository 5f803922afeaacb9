package mooring

import "math"

const (
	// airDensity in t/m³, so that with metres and seconds forces are kN. 1.225
	// kg/m³: mooring equipment guidelines' 60 knots then make 583.6 Pa.
	airDensity = 1.225e-3
	// sideCoefficient is C_yw of UFC 4-159-03 eq. (3), from memory, its height
	// factor taken as 1: the plan does not split hull from superstructure.
	sideCoefficient = 0.92
	// endCoefficient: common practice, no source.
	endCoefficient = 0.7
)

// WindForce is the steady force of wind on the ship: speed in m/s at 10 m, the
// direction it comes from in degrees true. Coefficients are those of a plain
// block; the ship's yaw is left out.
func (p *Plan) WindForce(speedMS, fromDeg float64) Force {
	bow := math.Mod(fromDeg-p.HeadingDeg, 360) * math.Pi / 180 // 0: from ahead, positive from starboard
	sin, cos := math.Sincos(bow)
	pressure := airDensity / 2 * speedMS * speedMS
	// Shape over direction: UFC 4-159-03 eq. (5), from memory.
	shape := (sin - math.Sin(5*bow)/20) / (1 - 1./20)
	side := pressure * sideCoefficient * p.Ship.SideWindageM2 * shape
	if p.Side == Port { // wind from starboard presses her onto the quay
		side = -side
	}
	off := math.Acos(cos) * 180 / math.Pi // 0 ahead to 180 astern, either side
	// Centre of pressure by Hughes' rule, from memory: 0.291 + 0.0023 deg⁻¹ of
	// the length abaft the bow.
	arm := p.Ship.LoaM * (0.5 - 0.291 - 0.0023*off)
	return Force{
		SurgeKN: -pressure * endCoefficient * p.Ship.EndWindageM2 * cos,
		SwayKN:  side,
		YawKNm:  arm * side,
	}
}
