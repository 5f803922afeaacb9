package mooring

import (
	"math"
	"testing"
)

func TestRise(t *testing.T) {
	p := &Plan{Reference: Reference{DraftFwdM: 8, DraftAftM: 9, WaterLevelM: 2}}
	fwd, aft := p.Rise(3.5, 9, 8.5)
	near(t, "fwd", fwd, 0.5, 1e-12) // 1.5 m of water less 1 m of draft
	near(t, "aft", aft, 2.0, 1e-12) // 1.5 m of water and 0.5 m of draft
}

func TestTrimIsSharedAlongTheShip(t *testing.T) {
	p := tanker()
	r := NewRig(p)
	at := Pose{RiseFwdM: 1, RiseAftM: -1}
	cx, _ := p.Centre()
	for i, l := range p.Lines {
		want := l.Fairlead.Z + 2*(l.Fairlead.X-cx)/p.Ship.LoaM
		near(t, "height", r.Span(i, at).Fairlead.Z, want, 1e-12)
	}
}

func TestAnglesOfALine(t *testing.T) {
	// By hand: 30 m along and 40 m across is atan(4/3) to the quay; 50 m out and
	// 50 m down is 45 degrees.
	p := &Plan{Ship: Ship{LoaM: 200}, Lines: []Line{{Fairlead: Point{0, 0, 60}, Hook: Point{-30, -40, 10}}}}
	s := NewRig(p).Span(0, Pose{})
	near(t, "horizontal", s.HorizontalRad(), math.Atan(4./3), 1e-12)
	near(t, "vertical", s.VerticalRad(), math.Pi/4, 1e-12)
	near(t, "length", s.LengthM, math.Sqrt(5000), 1e-12)
}

func TestShipTurnsAboutHerCentre(t *testing.T) {
	// By hand: the fairlead at (100, 16) turns a quarter about (0, 16) to (0, 116),
	// then moves 2 m along and 3 m off.
	p := &Plan{Ship: Ship{LoaM: 200, BeamM: 32}, Lines: []Line{
		{Fairlead: Point{100, 16, 10}, Hook: Point{150, -30, 5}},
		{Fairlead: Point{-100, 16, 10}, Hook: Point{-150, -30, 5}},
	}}
	at := Pose{SurgeM: 2, SwayM: 3, YawRad: math.Pi / 2}
	f := NewRig(p).Span(0, at).Fairlead
	near(t, "x", f.X, 2, 1e-9)
	near(t, "y", f.Y, 119, 1e-9)
}

func TestCentreOfALopsidedPlan(t *testing.T) {
	p := &Plan{Ship: Ship{LoaM: 200, BeamM: 30}, Lines: []Line{
		{Fairlead: Point{80, 0, 0}}, {Fairlead: Point{90, 0, 0}},
	}}
	if x, y := p.Centre(); x != 0 || y != 15 {
		t.Errorf("centre %g, %g", x, y)
	}
}
