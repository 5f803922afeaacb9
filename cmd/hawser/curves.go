package main

import (
	"fmt"
	"maps"
	"slices"

	"hawser/detect/fatigue"
	"hawser/detect/mooring"
)

// curves are tension-tension curves that go before the ones built in, by material.
type curves map[string]struct {
	M            float64 `yaml:"m"`
	LogK         float64 `yaml:"log_k"`
	MeanSlope    float64 `yaml:"mean_slope"`
	DesignFactor float64 `yaml:"design_factor"`
	Source       string  `yaml:"source"`
}

// byMaterial checks the curves and gives them as the line records take them.
func (c curves) byMaterial() (map[mooring.Material]fatigue.Curve, error) {
	out := map[mooring.Material]fatigue.Curve{}
	for _, name := range slices.Sorted(maps.Keys(c)) {
		given := c[name]
		curve := fatigue.Curve{Name: name + ", as given", M: given.M, LogK: given.LogK, MeanSlope: given.MeanSlope,
			DesignFactor: given.DesignFactor, Source: given.Source}
		if err := curve.Validate(); err != nil {
			return nil, fmt.Errorf("curves.%s.%w", name, err)
		}
		material, ok := materialNamed(name)
		if !ok {
			return nil, fmt.Errorf("curves: %q is no material of a line", name)
		}
		out[material] = curve
	}
	return out, nil
}

func materialNamed(name string) (mooring.Material, bool) {
	for m := mooring.SteelWire; m <= mooring.MixedFibre; m++ {
		if m.String() == name {
			return m, true
		}
	}
	return 0, false
}
