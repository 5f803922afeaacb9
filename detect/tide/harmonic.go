package tide

import (
	"math"
	"time"
)

// wave is a constituent as it is found at a station.
type wave struct {
	*constituent
	amplitudeM float64
	lagRad     float64 // behind the constituent's argument in Greenwich
}

// argument is V, radians.
func (c *constituent) argument(s sky) float64 {
	return c.hour*s.hour + c.moon*s.moon + c.sun*s.sun + c.perigee*s.perigee +
		c.solarPerigee*s.solarPerigee + c.quarters*math.Pi/2
}

// correction is the constituent's own f and u.
func (c *constituent) correction(by *[nodes]correction) correction {
	own := correction{f: 1}
	for _, p := range c.parts {
		switch k := math.Abs(p.times); k {
		case 1:
			own.f *= by[p.node].f
		default:
			own.f *= math.Pow(by[p.node].f, k)
		}
		own.u += p.times * by[p.node].u
	}
	return own
}

// harmonicM is the sum of the waves,
//
//	h(t) = mean + Σ f A cos(V + u − g)
//
// with V, f and u of the very moment, so that no year's end and no change of
// table makes a step. Source: Schureman, equation for the height of the tide.
func (c *Curve) harmonicM(t time.Time) float64 {
	s := skyAt(t)
	by := corrections(orbitAt(s))
	level := c.meanM
	for i := range c.waves {
		w := &c.waves[i]
		own := w.correction(&by)
		level += own.f * w.amplitudeM * math.Cos(w.argument(s)+own.u-w.lagRad)
	}
	return level
}
