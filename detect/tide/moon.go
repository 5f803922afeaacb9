package tide

import (
	"math"
	"time"
)

const degree = math.Pi / 180

// sky is where moon and sun stand, in radians: the hour angle of the mean sun
// (0 at noon in Greenwich), the mean longitudes of moon, sun, lunar perigee and
// solar perigee, and the moon's node.
type sky struct {
	hour, moon, sun, perigee, solarPerigee, node float64
}

// noon1900 is Greenwich mean noon of 31 December 1899, the epoch of skyAt.
var noon1900 = time.Date(1899, time.December, 31, 12, 0, 0, 0, time.UTC)

// skyAt has the mean longitudes of Schureman, Manual of Harmonic Analysis and
// Prediction of Tides (US Coast and Geodetic Survey Special Publication 98,
// 1940), Table 1, in degrees by Julian century; coefficients from memory, held
// by a test to another set.
func skyAt(t time.Time) sky {
	hours := hoursBetween(noon1900, t)
	c := hours / (24 * 36525)
	return sky{
		hour:         math.Mod(15*hours, 360) * degree,
		moon:         longitude(c, 270.4374222, 481267.892, 0.002525, 0.00000189),
		sun:          longitude(c, 279.6966778, 36000.768925, 0.0003025, 0),
		perigee:      longitude(c, 334.3280194, 4069.0322056, -0.0103444, -0.0000125),
		solarPerigee: longitude(c, 281.2208333, 1.719175, 0.0004528, 0.0000033),
		node:         longitude(c, 259.1825333, -1934.1423972, 0.0021056, 0.0000022),
	}
}

// longitude is a + b c + d c² + e c³ in degrees, as radians within ±2π.
func longitude(c, a, b, d, e float64) float64 {
	return math.Mod(a+c*(b+c*(d+c*e)), 360) * degree
}

// orbit is how the moon's orbit lies on the equator: its inclination and the
// angles that Schureman's node corrections are written in, radians.
type orbit struct {
	inclination float64 // I
	xi, nu      float64 // longitude in the orbit and right ascension of the crossing
	nuK1        float64 // ν' for K1
	nuK2        float64 // 2ν" for K2
	perigee     float64 // P: of the lunar perigee, from the crossing
}

// orbitAt is Schureman's spherical triangle: the ecliptic at 23.452 degrees to
// the equator, the orbit at 5.145 to the ecliptic.
func orbitAt(s sky) orbit {
	const obliquity, tilt = 23.452 * degree, 5.145 * degree
	n := math.Remainder(s.node, 2*math.Pi)
	tan := math.Tan(n / 2)
	sum := math.Atan(math.Cos((obliquity-tilt)/2) / math.Cos((obliquity+tilt)/2) * tan)
	diff := math.Atan(math.Sin((obliquity-tilt)/2) / math.Sin((obliquity+tilt)/2) * tan)
	o := orbit{
		inclination: math.Acos(math.Cos(obliquity)*math.Cos(tilt) - math.Sin(obliquity)*math.Sin(tilt)*math.Cos(n)),
		xi:          n - sum - diff,
		nu:          sum - diff,
	}
	o.perigee = s.perigee - o.xi
	sin2I, sinI2 := math.Sin(2*o.inclination), math.Pow(math.Sin(o.inclination), 2)
	o.nuK1 = math.Atan(sin2I * math.Sin(o.nu) / (sin2I*math.Cos(o.nu) + 0.3347))     // equation 224
	o.nuK2 = math.Atan(sinI2 * math.Sin(2*o.nu) / (sinI2*math.Cos(2*o.nu) + 0.0727)) // equation 232
	return o
}
