package mooring

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// tanker is an invented ship on twelve lines, alike fore and aft but for a
// little, so that nothing cancels by luck.
func tanker() *Plan {
	p := &Plan{Berth: "test", Ship: Ship{LoaM: 183, BeamM: 32.2, DisplacementT: 41000,
		SideWindageM2: 3150, EndWindageM2: 860}, HeadingDeg: 318, Limits: DefaultLimits()}
	for _, x := range []float64{-42, -16, 16, 42} {
		p.Fenders = append(p.Fenders, Fender{XM: x, ZM: 4, StiffnessKNPerM: 3800})
	}
	add := func(g Group, fairlead, hook Point, inboard float64) {
		p.Lines = append(p.Lines, Line{Group: g, Fairlead: fairlead, Hook: hook, InboardM: inboard, DiameterMM: 32,
			Material: HMPE, MBLkN: 660, PretensionKN: 100, MadeFast: Winch, BrakeRenderKN: 396,
			Instrumented: true, Tail: &Tail{Material: Polyester, LengthM: 11, DiameterMM: 80, MBLkN: 860}})
	}
	add(Head, Point{85, 6.5, 15}, Point{122, -32, 6}, 17)
	add(Head, Point{84, 5.4, 15}, Point{120, -32, 6}, 17)
	add(FwdBreast, Point{70, 1.2, 14.6}, Point{74, -32, 6}, 14)
	add(FwdBreast, Point{68, 1, 14.6}, Point{72, -32, 6}, 14)
	add(FwdSpring, Point{56, 0.3, 13.4}, Point{14, -5, 5.5}, 11)
	add(FwdSpring, Point{54, 0.3, 13.4}, Point{12, -5, 5.5}, 11)
	add(AftSpring, Point{-58, 0.3, 13.1}, Point{-16, -5, 5.5}, 11)
	add(AftSpring, Point{-56, 0.3, 13.1}, Point{-14, -5, 5.5}, 11)
	add(AftBreast, Point{-72, 1, 13.8}, Point{-75, -32, 6}, 14)
	add(AftBreast, Point{-74, 1.3, 13.8}, Point{-77, -32, 6}, 14)
	add(Stern, Point{-88, 5.8, 14}, Point{-124, -32, 6}, 17)
	add(Stern, Point{-89, 6.9, 14}, Point{-126, -32, 6}, 17)
	return p
}

// fourSprings is the hand calculation's layout: four straight, level lines just
// taut, the moments about the frame's origin.
func fourSprings() (*Rig, []float64) {
	p := &Plan{Berth: "test", Ship: Ship{LoaM: 200}}
	ends := [][4]float64{{100, 20, 130, 60}, {30, 20, -20, 30}, {-30, 20, 20, 30}, {-100, 20, -130, 60}}
	stiff := []float64{400, 600, 600, 400}
	for _, e := range ends {
		p.Lines = append(p.Lines, Line{Fairlead: Point{e[0], e[1], 0}, Hook: Point{e[2], e[3], 0},
			Material: SteelWire, MBLkN: 1})
	}
	r := NewRig(p)
	unstretched := make([]float64, len(ends))
	for i := range ends {
		length := r.LengthM(i, Pose{})
		r.laws[i] = Law{main: straight(stiff[i] * length)}
		unstretched[i] = length * (1 - 1e-12)
	}
	return r, unstretched
}

func TestStiffnessOfFourLines(t *testing.T) {
	// By hand: K = Σ k v vᵀ with v = (u_x, u_y, x u_y - y u_x), in N and m.
	r, unstretched := fourSprings()
	k := r.Stiffness(Pose{}, unstretched)
	near(t, "K11", k[0][0]*1e3, 1441846.154, 0.01)
	near(t, "K22", k[1][1]*1e3, 558153.846, 0.01)
	near(t, "K33", k[2][2]*1e3, 4.4792e9, 50)
	near(t, "K13", k[0][2]*1e3, 2.64e6, 1)
	near(t, "K12", k[0][1]*1e3, 0, 1e-3)
	near(t, "K23", k[1][2]*1e3, 0, 1)
	// And its answer to 200 kN, -500 kN, 5 MNm.
	q := [3]float64{0.1368148, -0.8958104, 0.00103563334}
	for i, want := range []float64{200, -500, 5000} {
		near(t, "force", k[i][0]*q[0]+k[i][1]*q[1]+k[i][2]*q[2], want, 1e-4*math.Abs(want))
	}
}

func TestStiffnessIsTheSlopeOfForce(t *testing.T) {
	r := NewRig(tanker())
	unstretched := r.Pretensioned()
	for i := range unstretched { // tight, so that no line is slack anywhere near
		unstretched[i] -= 0.5
	}
	forces := func(at Pose) Force {
		return r.LineForces(at, unstretched, nil).Plus(r.FenderForces(at))
	}
	rapid.Check(t, func(t *rapid.T) {
		sway := rapid.OneOf(rapid.Float64Range(0.2, 1), rapid.Float64Range(-0.4, -0.2)).Draw(t, "sway") // off or on all fenders
		at := Pose{SwayM: sway, SurgeM: rapid.Float64Range(-0.5, 0.5).Draw(t, "surge"),
			YawRad: rapid.Float64Range(-2e-3, 2e-3).Draw(t, "yaw")}
		k := r.Stiffness(at, unstretched)
		const h = 1e-5
		for j, move := range []Pose{{SurgeM: h}, {SwayM: h}, {YawRad: h / 50}} {
			step := []float64{h, h, h / 50}[j]
			up, down := at, at
			up.SurgeM, up.SwayM, up.YawRad = at.SurgeM+move.SurgeM, at.SwayM+move.SwayM, at.YawRad+move.YawRad
			down.SurgeM, down.SwayM, down.YawRad = at.SurgeM-move.SurgeM, at.SwayM-move.SwayM, at.YawRad-move.YawRad
			a, b := forces(up), forces(down)
			slope := [3]float64{(b.SurgeKN - a.SurgeKN) / (2 * step), (b.SwayKN - a.SwayKN) / (2 * step),
				(b.YawKNm - a.YawKNm) / (2 * step)}
			for i := range 3 {
				scale := math.Sqrt(k[i][i] * k[j][j])
				if math.Abs(k[i][j]-slope[i]) > 1e-5*scale {
					t.Fatalf("K%d%d = %g, slope %g", i+1, j+1, k[i][j], slope[i])
				}
				if math.Abs(k[i][j]-k[j][i]) > 1e-9*scale {
					t.Fatalf("K%d%d = %g, K%d%d = %g", i+1, j+1, k[i][j], j+1, i+1, k[j][i])
				}
			}
		}
	})
}

func TestFenderStiffnessAtALargeYaw(t *testing.T) {
	// The slope of the fenders' force, no line made fast, turned by 11 degrees.
	r := NewRig(tanker())
	off := make([]float64, 12)
	for i := range off {
		off[i] = math.Inf(1)
	}
	at := Pose{SwayM: -12, YawRad: 0.2}
	const h = 1e-6
	up, down := at, at
	up.YawRad, down.YawRad = at.YawRad+h, at.YawRad-h
	a, b, k := r.FenderForces(up), r.FenderForces(down), r.Stiffness(at, off)
	near(t, "surge by yaw", k[0][2]*2*h/(b.SurgeKN-a.SurgeKN), 1, 1e-6)
	near(t, "sway by yaw", k[1][2]*2*h/(b.SwayKN-a.SwayKN), 1, 1e-6)
	near(t, "yaw by yaw", k[2][2]*2*h/(b.YawKNm-a.YawKNm), 1, 1e-6)
}

// anyForce draws a force that the tanker's mooring can take.
func anyForce(t *rapid.T) Force {
	return Force{rapid.Float64Range(-400, 400).Draw(t, "surge"),
		rapid.Float64Range(-5000, 1500).Draw(t, "sway"),
		rapid.Float64Range(-4e4, 4e4).Draw(t, "yaw")}
}

func TestForcesBalance(t *testing.T) {
	p := tanker()
	r := NewRig(p)
	most := 0
	rapid.Check(t, func(t *rapid.T) {
		unstretched := r.Pretensioned()
		if lost := rapid.IntRange(-1, len(unstretched)-1).Draw(t, "lost line"); lost >= 0 {
			unstretched[lost] = math.Inf(1)
		}
		force := anyForce(t)
		rise := rapid.Float64Range(-1, 1).Draw(t, "rise")
		e, err := r.Equilibrium(force, unstretched, Pose{RiseFwdM: rise, RiseAftM: rise})
		if err != nil {
			t.Fatal(err)
		}
		most = max(most, e.Steps)
		// Summed again here, from the tensions and the geometry alone.
		cx, cy := p.Centre()
		sum, total := force, math.Abs(force.SurgeKN)+math.Abs(force.SwayKN)
		for i, pull := range e.TensionKN {
			s := r.Span(i, e.Pose)
			fx, fy := pull*s.Unit.X, pull*s.Unit.Y
			ax, ay := s.Fairlead.X-cx-e.Pose.SurgeM, s.Fairlead.Y-cy-e.Pose.SwayM
			sum = sum.Plus(Force{fx, fy, ax*fy - ay*fx})
			total += pull
		}
		if e.Fenders.SwayKN < 0 {
			t.Fatalf("fenders pull: %g kN", e.Fenders.SwayKN)
		}
		sum = sum.Plus(e.Fenders)
		for _, left := range []float64{sum.SurgeKN, sum.SwayKN, sum.YawKNm / p.Ship.LoaM} {
			if math.Abs(left) > 1e-6*total {
				t.Fatalf("out of balance: %+v of %g kN", sum, total)
			}
		}
	})
	if most > 30 { // 7 as a rule: Newton's steps double the digits
		t.Errorf("a search took %d steps", most)
	}
}

func TestMirroredMooringMirrorsTensions(t *testing.T) {
	p, m := tanker(), tanker()
	for i := range m.Lines {
		m.Lines[i].Fairlead.X *= -1
		m.Lines[i].Hook.X *= -1
	}
	for i := range m.Fenders {
		m.Fenders[i].XM *= -1
	}
	a, b := NewRig(p), NewRig(m)
	rapid.Check(t, func(t *rapid.T) {
		f := anyForce(t)
		ea, err := a.Equilibrium(f, a.Pretensioned(), Pose{})
		if err != nil {
			t.Fatal(err)
		}
		eb, err := b.Equilibrium(Force{-f.SurgeKN, f.SwayKN, -f.YawKNm}, b.Pretensioned(), Pose{})
		if err != nil {
			t.Fatal(err)
		}
		for i := range ea.TensionKN {
			if math.Abs(ea.TensionKN[i]-eb.TensionKN[i]) > 1e-4 {
				t.Fatalf("line %d: %g and %g kN", i, ea.TensionKN[i], eb.TensionKN[i])
			}
		}
	})
}

func TestLossOfOneOfFourLikeLines(t *testing.T) {
	// By hand: n like lines carry F/n each, one lost leaves n/(n-1) of that.
	p := &Plan{Berth: "test", Ship: Ship{LoaM: 100, BeamM: 20}}
	for range 4 {
		p.Lines = append(p.Lines, Line{Fairlead: Point{0, 0, 5}, Hook: Point{0, -30, 5},
			Material: Polyester, MBLkN: 500, PretensionKN: 50})
	}
	r := NewRig(p)
	lengths := r.Pretensioned()
	for _, n := range []int{4, 3} {
		if n == 3 {
			lengths[1] = math.Inf(1)
		}
		e, err := r.Equilibrium(Force{SwayKN: 600}, lengths, Pose{})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "tension", e.TensionKN[0], 600/float64(n), 1e-6)
	}
}

func TestFenderOnlyPushes(t *testing.T) {
	r := NewRig(tanker())
	if f := r.FenderForces(Pose{SwayM: 0.1}); f != (Force{}) {
		t.Errorf("off the fenders: %+v", f)
	}
	// By hand: 4 fenders of 3800 kN/m, 0.1 m; they lie about x = 0, the ship's
	// centre midway between 85 and -89.
	f := r.FenderForces(Pose{SwayM: -0.1})
	near(t, "push", f.SwayKN, 1520, 1e-9)
	near(t, "moment", f.YawKNm, 1520*2, 1e-9)
}

func BenchmarkLineForces(b *testing.B) {
	r := NewRig(tanker())
	unstretched, tension := r.Pretensioned(), make([]float64, 12)
	b.ReportAllocs()
	for b.Loop() {
		r.LineForces(Pose{SwayM: 0.2}, unstretched, tension)
	}
	if tension[2] < 100 {
		b.Fatalf("line 2 carries %g kN", tension[2])
	}
}
