package mooring

import (
	"math"
	"testing"
)

func TestRecoilOfStraightRope(t *testing.T) {
	// By mechanics: 300 kN on 50 m stores T²L/2EA, and all of it into the mass is
	// T/√(EA m), the strain times the speed of a wave in the rope.
	for _, row := range []struct {
		name                    string
		eaKN, kgPerM, kJ, speed float64
	}{
		{"stretchy", 4e3, 3.0, 562.5, 86.6},
		{"stiff fibre", 40e3, 0.9, 56.25, 50.0},
		{"wire", 70e3, 7.5, 32.14, 13.1},
	} {
		law := Law{main: straight(row.eaKN)}
		law.main.kgPerM = row.kgPerM
		s := law.Stored(300, 50)
		near(t, row.name+" energy", s.EnergyKJ(), row.kJ, 0.005)
		v, ok := s.RecoilMS()
		if !ok {
			t.Errorf("%s: mass not known", row.name)
		}
		near(t, row.name+" speed", v, row.speed, 0.05)
	}
}

// fiftyMM is a line of 50 mm that breaks at the trade's load, 60 m with 11 m of
// tail where one is given.
func fiftyMM(main Material, tail *Tail) Law {
	return NewLaw(&Plan{Lines: []Line{{Material: main, DiameterMM: 50,
		MBLkN: main.BreakingLoadKN(50), Tail: tail}}}, 0)
}

func TestRecoilOfVeryStretchyRope(t *testing.T) {
	// Recoil speeds up to about 500 mph for very stretchy lines: common practice,
	// no source. At break, to a tenth.
	const mph = 0.44704
	law := fiftyMM(Polyamide, nil)
	v, _ := law.Stored(law.main.mblKN, 60).RecoilMS()
	near(t, "polyamide at break, mph", v/mph, 500, 50)
}

func TestAStretchyTailRecoilsHard(t *testing.T) {
	// HMPE alone recoils little, HMPE with a stretchy tail recoils hard: common
	// practice, no source. At 500 kN each.
	const load = 500
	alone := fiftyMM(HMPE, nil)
	tailed := fiftyMM(HMPE, &Tail{Material: Polyamide, LengthM: 11, DiameterMM: 100, MBLkN: 2400})
	polyamide := NewLaw(&Plan{Lines: []Line{{Material: Polyamide, DiameterMM: 100,
		MBLkN: Polyamide.BreakingLoadKN(100)}}}, 0)
	little, hard, all := alone.Stored(load, 60), tailed.Stored(load, 60), polyamide.Stored(load, 60)
	if !(hard.EnergyKJ() > 1.5*little.EnergyKJ() && all.EnergyKJ() > 4*little.EnergyKJ()) {
		t.Errorf("energy: HMPE %.0f kJ, with a tail %.0f kJ, polyamide %.0f kJ",
			little.EnergyKJ(), hard.EnergyKJ(), all.EnergyKJ())
	}
	slow, _ := little.RecoilMS()
	fast, _ := hard.RecoilMS()
	if !(fast > slow) {
		t.Errorf("speed: HMPE %.0f m/s, with a tail %.0f m/s", slow, fast)
	}
}

func TestRecoilOfTheLighterPart(t *testing.T) {
	// By hand: 90 kJ into 20 kg is 94.87 m/s, whichever part weighs that.
	for _, s := range []Stored{
		{MainKJ: 60, TailKJ: 30, MainKG: 50, TailKG: 20}, {MainKJ: 60, TailKJ: 30, MainKG: 20, TailKG: 50},
		{MainKJ: 90, MainKG: 20}, {TailKJ: 90, TailKG: 20},
	} {
		v, ok := s.RecoilMS()
		if !ok {
			t.Errorf("%+v: mass not known", s)
		}
		near(t, "speed", v, 94.868, 0.001)
	}
}

func TestNothingStored(t *testing.T) {
	law := fiftyMM(Polyester, nil)
	if s := law.Stored(0, 60); s.EnergyKJ() != 0 {
		t.Errorf("slack, yet %g kJ", s.EnergyKJ())
	}
	if s := law.Stored(100, math.Inf(1)); s != (Stored{}) {
		t.Errorf("not made fast, yet %+v", s)
	}
	light := NewLaw(&Plan{Lines: []Line{{Material: Polyester, MBLkN: 300}}}, 0)
	if v, ok := light.Stored(100, 60).RecoilMS(); ok {
		t.Errorf("no diameter, yet %g m/s", v)
	}
}
