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

func TestWindByHand(t *testing.T) {
	// 20 m/s of air of 1.225 kg/m³ is 245 Pa. From ahead 0.7 of it on 300 m². 45
	// degrees on the starboard bow, UFC 4-159-03 eq. (5) gives (sin 45 - sin 225/20)/
	// 0.95 = 0.78154 of 0.92 on 1000 m², and Hughes' rule puts it 0.3945 of the length
	// abaft the bow.
	p := &Plan{Ship: Ship{LoaM: 200, SideWindageM2: 1000, EndWindageM2: 300}}
	near(t, "from ahead", p.WindForce(20, 0).SurgeKN, -0.7*0.245*300, 1e-9)
	f := p.WindForce(20, 45)
	near(t, "sway", f.SwayKN, 0.78154*0.92*0.245*1000, 0.01)
	near(t, "arm", f.YawKNm/f.SwayKN, 200*(0.5-0.3945), 1e-9)
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

func TestWindByHeight(t *testing.T) {
	// By hand, UFC 4-159-03 eq. (3): a hull to 6.43 m of 1036.1 m² and a house to
	// 23.9 m of 1501.7 m²: (1.5165^(2/7) 1501.7 + 0.3215^(2/7) 1036.1)/2537.8.
	w := &Windage{HullM2: 1036.1, HullTopM: 6.43, HouseM2: 1501.7, HouseTopM: 23.9}
	near(t, "factor", w.Factor(), 0.9617, 2e-4)
	near(t, "at 10 m", (&Windage{HullM2: 500, HullTopM: 20}).Factor(), 1, 1e-12)
	p := &Plan{HeadingDeg: 0, Ship: Ship{LoaM: 172, SideWindageM2: 2537.8, Windage: w}}
	e := Environment{Plan: p}
	// 0.92 of it is C_yw = 0.885; at 35 m/s 750.3 Pa.
	near(t, "sway", e.Wind(35, 90).SwayKN, 0.7503*0.8848*2537.8, 1)
}

func TestFrameTurnsWithTheBerth(t *testing.T) {
	p := tanker()
	p.Reference = Reference{DraftFwdM: 10, DraftAftM: 10}
	e := Environment{Plan: p}
	wind, current := e.Wind(17, 350), e.Current(0.8, 100)
	p.HeadingDeg += 77
	for _, d := range []struct{ got, want Force }{{e.Wind(17, 350+77), wind}, {e.Current(0.8, 177-360), current}} {
		near(t, "surge", d.got.SurgeKN, d.want.SurgeKN, 1e-9)
		near(t, "sway", d.got.SwayKN, d.want.SwayKN, 1e-9)
		near(t, "yaw", d.got.YawKNm, d.want.YawKNm, 1e-6)
	}
}
