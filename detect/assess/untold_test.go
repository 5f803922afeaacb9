package assess_test

import (
	"math"
	"testing"

	"hawser/detect/assess"
)

// One ship lies in winds off her quay that are told, and not told. By the told wind it
// is known what the loss of a line leaves to its neighbour; where nobody tells it the
// answer is not to be less, nor, in a calm, to frighten anybody.
func TestALossWhereNobodyTellsTheWind(t *testing.T) {
	p := shared(t, "tanker-12")
	off := p.HeadingDeg + 90 // wind from there blows her off: +y lies to the left of +x
	for _, blow := range [][2]float64{{0, 0}, {12, 0}, {18, 0}, {20, 0}, {22, 0}, {25, 0}, {22, -30}, {22, 30}, {25, 40}, {20, 180}} {
		wind := blow[0]
		told := assess.Conditions{WindMS: wind, WindFromDeg: off + blow[1]}
		truth, err := assess.New(p).Steady(told)
		if err != nil {
			t.Fatal(err)
		}
		worst := func(c assess.Conditions) float64 {
			m, left := assess.Measured(p, truth.TensionKN, c)
			c.Other = c.Other.Plus(left)
			l := m.LoseEach(c)[0]
			return l.First.TensionKN[l.Worst]
		}
		known := worst(told)
		calm := worst(assess.Conditions{})
		untold := worst(assess.Conditions{Untold: assess.Untold(p, truth.TensionKN, assess.Conditions{})})
		t.Logf("wind %v: told %.0f kN, taken for calm %.0f, not told %.0f", blow, known, calm, untold)
		if untold < 0.97*known || untold > 1.25*known {
			t.Errorf("in %v: %.0f kN where nobody tells the wind, %.0f where somebody does", blow, untold, known)
		}
		if wind == 22 && calm > 0.9*known {
			t.Errorf("taken for a calm it is %.0f kN of %.0f: nothing is tried", calm, known)
		}
	}
}

// The limits of wind are of wind alone: what is taken for one that blows is put aside
// as one that is told would be.
func TestWindLimitsPutTheUntoldWindAside(t *testing.T) {
	p := shared(t, "tanker-12")
	truth, err := assess.New(p).Steady(assess.Conditions{WindMS: 18, WindFromDeg: p.HeadingDeg + 90})
	if err != nil {
		t.Fatal(err)
	}
	limit := func(c assess.Conditions) float64 {
		m, left := assess.Measured(p, truth.TensionKN, c)
		c.Other = c.Other.Plus(left)
		least := math.Inf(1)
		for _, w := range m.WindLimits(c, 24) {
			least = min(least, w.Working.SpeedMS)
		}
		return least
	}
	told := limit(assess.Conditions{WindMS: 18, WindFromDeg: p.HeadingDeg + 90})
	untold := limit(assess.Conditions{Untold: assess.Untold(p, truth.TensionKN, assess.Conditions{})})
	if math.Abs(untold-told) > 0.1*told {
		t.Errorf("the least wind is %.1f m/s, told %.1f", untold, told)
	}
}
