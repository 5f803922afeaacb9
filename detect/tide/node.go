package tide

import "math"

// node is one of the corrections for the moon's node, which goes round in 18.6
// years: f for the amplitude, u for the phase.
type node uint8

const (
	steady node = iota // of the sun alone: none
	nodeMm
	nodeMf
	nodeO1
	nodeK1
	nodeJ1
	nodeOO1
	nodeM1
	nodeM2
	nodeL2
	nodeK2
	nodes
)

type correction struct{ f, u float64 }

// corrections are f and u of every node. The formulas and their numbers are
// Schureman's, cited by equation for f; u is from his Table 2. From memory, held
// by tests to another implementation.
func corrections(o orbit) (c [nodes]correction) {
	sin, cos := math.Sincos(o.inclination)
	sinHalf, cosHalf := math.Sincos(o.inclination / 2)
	sin2, cosHalf2 := math.Sin(2*o.inclination), cosHalf*cosHalf

	c[steady] = correction{1, 0}
	c[nodeMm] = correction{(2.0/3 - sin*sin) / 0.5021, 0}                     // 73
	c[nodeMf] = correction{sin * sin / 0.1578, -2 * o.xi}                     // 74
	c[nodeO1] = correction{sin * cosHalf2 / 0.3800, 2*o.xi - o.nu}            // 75
	c[nodeJ1] = correction{sin2 / 0.7214, -o.nu}                              // 76
	c[nodeOO1] = correction{sin * sinHalf * sinHalf / 0.0164, -2*o.xi - o.nu} // 77
	c[nodeM2] = correction{cosHalf2 * cosHalf2 / 0.9154, 2*o.xi - 2*o.nu}     // 78
	c[nodeK1] = correction{                                                   // 227
		math.Sqrt(0.8965*sin2*sin2 + 0.6001*sin2*math.Cos(o.nu) + 0.1006), -o.nuK1}
	c[nodeK2] = correction{ // 235
		math.Sqrt(19.0444*math.Pow(sin, 4) + 2.7702*sin*sin*math.Cos(2*o.nu) + 0.0981), -o.nuK2}

	// L2 and M1 are two waves each, a little apart in speed, that beat with the
	// moon's perigee: 215, 214 and 207, 203.
	sinP, cosP := math.Sincos(o.perigee)
	sin2P, cos2P := math.Sincos(2 * o.perigee)
	tan2 := sinHalf * sinHalf / cosHalf2
	c[nodeL2] = correction{
		c[nodeM2].f * math.Sqrt(1-12*tan2*cos2P+36*tan2*tan2),
		c[nodeM2].u - math.Atan(sin2P/(1/(6*tan2)-cos2P))}
	q := math.Atan2((5*cos-1)*sinP, (7*cos+1)*cosP)
	c[nodeM1] = correction{
		c[nodeO1].f * math.Sqrt(0.25+1.5*cos*cos2P/cosHalf2+2.25*cos*cos/(cosHalf2*cosHalf2)),
		q - o.perigee - o.nu}
	return c
}
