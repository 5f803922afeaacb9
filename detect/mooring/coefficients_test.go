package mooring

import (
	"math"
	"strings"
	"testing"
)

func TestCoefficientsOfOnesOwn(t *testing.T) {
	c, err := NewCoefficients([]CoefficientRow{
		{0, -0.8, 0, 0}, {90, 0.1, 1, 0.05}, {180, 0.6, 0, 0},
	})
	if err != nil {
		t.Fatal(err)
	}
	p := &Plan{HeadingDeg: 40, Ship: Ship{LoaM: 200, BeamM: 30, SideWindageM2: 2000, EndWindageM2: 500,
		WindBy: c, CurrentBy: c}, Reference: Reference{DraftFwdM: 9, DraftAftM: 11}}
	e := Environment{Plan: p}
	// By hand: 45 degrees on the starboard bow lies halfway between rows; 20 m/s of
	// air is 0.245 kPa, on 2000 and 500 m².
	f := e.Wind(20, 85)
	near(t, "surge", f.SurgeKN, 0.245*500*-0.35, 1e-9)
	near(t, "sway", f.SwayKN, 0.245*2000*0.5, 1e-9)
	near(t, "yaw", f.YawKNm, 0.245*2000*200*0.025, 1e-9)
	// From port it is the mirror; with the port side to, the frame is.
	g := e.Wind(20, 40-45)
	near(t, "sway from port", g.SwayKN, -f.SwayKN, 1e-9)
	near(t, "surge from port", g.SurgeKN, f.SurgeKN, 1e-9)
	p.Side = Port
	near(t, "yaw, port side to", e.Wind(20, 85).YawKNm, -f.YawKNm, 1e-9)
	// Current setting aft at 2 m/s: 2.05 kPa on 30 by 10 m.
	near(t, "current", e.Current(2, 220).SurgeKN, 2.05*300*-0.8, 1e-9)
	// A metre less draft: 200 m² more side to the wind, 30 m² more end.
	e.DraftM = 9
	near(t, "higher", e.Wind(20, 130).SwayKN, -0.245*2200, 1e-9)
	near(t, "higher end", e.Wind(20, 40).SurgeKN, -0.245*530*0.8, 1e-9)
}

func TestCoefficientsAllRound(t *testing.T) {
	c, err := NewCoefficients([]CoefficientRow{
		{0, -1, 0.1, 0}, {90, 0, 1, 0}, {270, 0, -0.5, 0}, {360, -1, 0.1, 0},
	})
	if err != nil {
		t.Fatal(err)
	}
	_, toPort, _ := c.At(-math.Pi / 2)
	near(t, "from port", toPort, -0.5, 1e-12)
	_, toPort, _ = c.At(-math.Pi / 4)
	near(t, "on the port bow", toPort, -0.2, 1e-12)
}

func TestCoefficientsRefused(t *testing.T) {
	for name, row := range map[string]struct {
		rows []CoefficientRow
		want string
	}{
		"too few":        {[]CoefficientRow{{0, 0, 0, 0}, {180, 0, 0, 0}}, "row 2: must not be the last of fewer than three"},
		"none":           {nil, "row 1: must not be the last of fewer than three"},
		"not from ahead": {[]CoefficientRow{{10, 0, 0, 0}, {90, 0, 1, 0}, {180, 0, 0, 0}}, "row 1: must be at 0 degrees, not 10"},
		"not rising":     {[]CoefficientRow{{0, 0, 0, 0}, {90, 0, 1, 0}, {90, 0, 0, 0}}, "row 3: must be at a greater angle than the row before it, at 90 degrees, not 90"},
		"ends short":     {[]CoefficientRow{{0, 0, 0, 0}, {90, 0, 1, 0}, {170, 0, 0, 0}}, "row 3: must be at 180 or 360 degrees as the last, not 170"},
		"one-sided":      {[]CoefficientRow{{0, 0, 0.2, 0}, {90, 0, 1, 0}, {180, 0, 0, 0}}, "row 1: must push her to neither side"},
		"one-sided aft":  {[]CoefficientRow{{0, 0, 0, 0}, {90, 0, 1, 0}, {180, 0, 0, 0.1}}, "row 3: must push her to neither side"},
		"in percent":     {[]CoefficientRow{{0, 0, 0, 0}, {90, 0, 95, 0}, {180, 0, 0, 0}}, "row 2: must be a coefficient, from -10 to 10, not 95"},
		"not a number":   {[]CoefficientRow{{0, math.NaN(), 0, 0}, {90, 0, 1, 0}, {180, 0, 0, 0}}, "row 1: must be a coefficient, from -10 to 10, not NaN"},
		"no angle":       {[]CoefficientRow{{0, 0, 0, 0}, {math.NaN(), 0, 1, 0}, {180, 0, 0, 0}}, "row 2: must be at a greater angle"},
		"does not close": {[]CoefficientRow{{0, 0, 0, 0}, {90, 0, 1, 0}, {360, 0.1, 0, 0}}, "row 3: must repeat the first"},
	} {
		if _, err := NewCoefficients(row.rows); err == nil || !strings.HasPrefix(err.Error(), row.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
