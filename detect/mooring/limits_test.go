package mooring

import "testing"

// Working load limits are 55 % of ship design MBL for steel wire and 50 % for all
// other cordage. Source: Mooring Equipment Guidelines, 4th edition (2018), as
// used with SOLAS II-1/3-8 in force from 2024, read in a flag registry's circular.
func TestWorkingLoadLimits(t *testing.T) {
	for _, c := range []struct {
		material Material
		share    float64
	}{{SteelWire, 0.55}, {HMPE, 0.50}, {Aramid, 0.50}, {Polyester, 0.50}, {Polyamide, 0.50},
		{Polypropylene, 0.50}, {Polyolefin, 0.50}, {MixedFibre, 0.50}} {
		p := &Plan{Limits: DefaultLimits(), Lines: []Line{{Material: c.material, MBLkN: 640}}}
		near(t, c.material.String(), p.WorkingLoadKN(0), c.share*640, 1e-9)
		p.Limits.WorkingLoadFraction = 0.45 // a plan may say otherwise, for every material
		near(t, c.material.String()+" by the plan", p.WorkingLoadKN(0), 288, 1e-9)
	}
}

// The worked example of a 250 000 dwt tanker on fourteen wires of 1110 kN: the
// limit is 610 kN, and wires 1 and 2 alone, at 56.5 and 56.1 % of MBL, are over
// it. Source: mooring guideline, appendix E.7, tonnes-force in the original, the
// wires' numbers uncertain in the scan.
func TestPublishedLineLoadsAgainstTheLimit(t *testing.T) {
	const kNPerTonne = 9.80665
	p := &Plan{Limits: DefaultLimits(), Lines: []Line{{Material: SteelWire, MBLkN: 1110}}}
	limit := p.WorkingLoadKN(0)
	near(t, "limit", limit, 610.5, 0.01)
	var over []int
	for wire, tonnes := range []float64{63.9, 63.5, 47.6, 43.1, 48.5, 54.9, 54.4, 48.1, 48.5, 45.4, 44.4, 59.4, 60.8, 56.2} {
		if tonnes*kNPerTonne > limit {
			over = append(over, wire+1)
		}
	}
	if len(over) != 2 || over[0] != 1 || over[1] != 2 {
		t.Errorf("wires %v are over the limit, in the guideline 1 and 2", over)
	}
}
