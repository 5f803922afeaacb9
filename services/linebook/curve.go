package linebook

import (
	"hawser/detect/fatigue"
	"hawser/detect/mooring"
)

// curve is the tension-tension curve of a material: one that was given, else the
// one built in.
func (b *Book) curve(m mooring.Material) fatigue.Curve {
	if c, ok := b.o.Curves[m]; ok {
		return c
	}
	return CurveOf(m)
}

// CurveOf is the curve built in for a material.
func CurveOf(m mooring.Material) fatigue.Curve {
	switch m {
	case mooring.SteelWire:
		return fatigue.StrandedWire()
	case mooring.Polyester:
		return fatigue.Polyester()
	case mooring.HMPE, mooring.Aramid:
		return fatigue.HighModulus()
	}
	return fatigue.WetNylon()
}
