package mooring

import (
	"math"
	"testing"
)

func TestWindAbeam(t *testing.T) {
	p := &Plan{HeadingDeg: 72, Ship: Ship{LoaM: 183, SideWindageM2: 1000, EndWindageM2: 300}}
	const knots60 = 60 * 0.514444
	// 60 knots make 583.6 Pa; UFC 4-159-03: 0.92 and a shape of 1 from abeam.
	f := p.WindForce(knots60, 72+90) // off the quay
	near(t, "sway", f.SwayKN, 0.5836*0.92*1000, 0.1)
	near(t, "surge", f.SurgeKN, 0, 1e-9)
	p.Side = Port
	near(t, "sway, port side to", p.WindForce(knots60, 72+90).SwayKN, -0.5836*0.92*1000, 0.1)
}

func TestWindFromAheadAndAstern(t *testing.T) {
	p := &Plan{HeadingDeg: 350, Ship: Ship{LoaM: 183, SideWindageM2: 1000, EndWindageM2: 300}}
	ahead, astern := p.WindForce(20, 350), p.WindForce(20, 170)
	if !(ahead.SurgeKN < 0) || math.Abs(ahead.SwayKN) > 1e-9 {
		t.Errorf("from ahead: %+v", ahead)
	}
	near(t, "astern", astern.SurgeKN, -ahead.SurgeKN, 1e-9)
}

func TestWindOnTheBowTurnsTheBow(t *testing.T) {
	p := &Plan{HeadingDeg: 0, Ship: Ship{LoaM: 183, SideWindageM2: 1000, EndWindageM2: 300}}
	if f := p.WindForce(15, 45); !(f.SwayKN > 0 && f.YawKNm > 0) {
		t.Errorf("starboard bow, starboard side to: %+v, want off and bow out", f)
	}
	if f := p.WindForce(15, 135); !(f.SwayKN > 0 && f.YawKNm < 0) {
		t.Errorf("starboard quarter: %+v, want off and stern out", f)
	}
}
