package fatigue

import (
	"errors"
	"fmt"
	"math"
)

// Curve is a tension-tension curve N R^M = K: the cycles N that a rope bears at a
// range R, a share of its breaking load. Where MeanSlope is not 0 the mean load, a
// share too, lowers K: log10 K = LogK + MeanSlope * mean.
type Curve struct {
	Name      string
	M         float64
	LogK      float64
	MeanSlope float64
	// DesignFactor is by how much the guidance wants the reckoned life to be longer
	// than the one planned for: its own measure of how little a Miner sum says.
	DesignFactor float64
	// Source says where the figures are from and how they are known.
	Source string
	// StandIn is set where no published curve for the material is at hand and
	// another one serves to compare ropes with each other, not to tell a life.
	StandIn bool
}

// Validate says what is wrong with a curve given by somebody.
func (c *Curve) Validate() error {
	switch {
	case !(c.M >= 1 && c.M <= 30):
		return fmt.Errorf("m: %g must be from 1 to 30", c.M)
	case !(c.LogK >= -10 && c.LogK <= 20):
		return fmt.Errorf("log_k: %g must be from -10 to 20", c.LogK)
	case !(c.MeanSlope >= -20 && c.MeanSlope <= 0):
		return fmt.Errorf("mean_slope: %g must be from -20 to 0", c.MeanSlope)
	case !(c.DesignFactor >= 1 && c.DesignFactor <= 1000):
		return fmt.Errorf("design_factor: %g must be from 1 to 1000", c.DesignFactor)
	case c.Source == "":
		return errors.New("source: must say where the curve is from")
	}
	return nil
}

// Life is the number of cycles of a range about a mean that the curve gives a rope,
// infinite for no range.
func (c *Curve) Life(size, mean float64) float64 {
	if size <= 0 {
		return math.Inf(1)
	}
	return math.Pow(10, c.LogK+c.MeanSlope*max(mean, 0)-c.M*math.Log10(size))
}

// Damage is n cycles' part of the Miner sum: n/N (Palmgren 1924, Miner 1945).
func (c *Curve) Damage(size, mean, n float64) float64 { return n / c.Life(size, mean) }

// StrandedWire is six-strand and multi-strand wire rope, protected from corrosion.
//
// Source: API RP 2SK, tension-tension curves for wire rope; the figures read in two
// public libraries that quote them and, alike, in ABS guidance on position mooring.
// The design factor of 3 from memory.
func StrandedWire() Curve {
	return Curve{Name: "six and multi-strand wire rope", M: 4.09, LogK: 3.20, MeanSlope: -2.79, DesignFactor: 3,
		Source: "API RP 2SK (figures read in texts that quote it; design factor from memory)"}
}

// SpiralStrand is spiral-strand wire rope, protected from corrosion; source as for
// StrandedWire (one of the texts has 3.23 for 3.25).
func SpiralStrand() Curve {
	return Curve{Name: "spiral-strand wire rope", M: 5.05, LogK: 3.25, MeanSlope: -3.43, DesignFactor: 3,
		Source: "API RP 2SK (figures read in texts that quote it; design factor from memory)"}
}

// Polyester is polyester rope as made for mooring offshore.
//
// Source: ABS guidance on position mooring, N R^5.2 = 25,000, read in a public
// library that quotes it. DNV-OS-E301 wants a factor of 60 for polyester, from
// memory: the curve is steep and a little more load costs much life.
func Polyester() Curve {
	return Curve{Name: "polyester rope", M: 5.2, LogK: math.Log10(25000), DesignFactor: 60,
		Source: "ABS guidance on position mooring (figures read in a text that quotes it; factor of 60 of DNV-OS-E301 from memory)"}
}

// HighModulus stands in for high-modulus fibre, for which tests of the very rope are
// asked for: the curve of spiral strand, as was usual for fibre rope before it had
// curves of its own. From memory.
func HighModulus() Curve {
	c := SpiralStrand()
	c.Name, c.DesignFactor, c.StandIn = "high-modulus fibre by spiral strand", 10, true
	c.Source = "no published curve for the material; API RP 2SK spiral strand in its place, design factor of ours"
	return c
}

// WetNylon stands in for polyamide, and for other soft fibre, that works wet in
// waves: far worse than polyester, as its fibres rub each other through. The line
// goes through 1,000 cycles at half the breaking load, about what thousand-cycle
// tests of wet nylon come to (from memory), with a slope of 5, which is assumed.
func WetNylon() Curve {
	return Curve{Name: "soft fibre, wet, by a thousand-cycle test", M: 5, LogK: 3 + 5*math.Log10(0.5), DesignFactor: 10, StandIn: true,
		Source: "no published curve for the material; from memory of thousand-cycle tests, slope assumed, design factor of ours"}
}
