package tide

import "time"

// Argument is a constituent's V at a time, radians.
func Argument(name string, at time.Time) float64 { return find(name).argument(skyAt(at)) }

// Correction is a constituent's f and u at a time, u in radians.
func Correction(name string, at time.Time) (f, u float64) {
	by := corrections(orbitAt(skyAt(at)))
	c := find(name).correction(&by)
	return c.f, c.u
}
