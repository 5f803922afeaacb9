package mooring

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestSolve3(t *testing.T) {
	// By hand: K = L Lᵀ with L = [2; 1 3; 4 -1 2], and K (1, -2, 3) multiplied out.
	k := [3][3]float64{{4, 2, 8}, {2, 10, 1}, {8, 1, 21}}
	x, ok := solve3(&k, [3]float64{24, -15, 69})
	if !ok {
		t.Fatal("not positive definite")
	}
	for i, want := range []float64{1, -2, 3} {
		near(t, "x", x[i], want, 1e-12)
	}
	for name, k := range map[string][3][3]float64{
		"singular":      {{1, 1, 0}, {1, 1, 0}, {0, 0, 1}},
		"indefinite":    {{1, 2, 0}, {2, 1, 0}, {0, 0, 1}},
		"zero":          {},
		"not a number":  {{math.NaN(), 0, 0}, {0, 1, 0}, {0, 0, 1}},
		"without bound": {{math.Inf(1), 0, 0}, {0, 1, 0}, {0, 0, 1}},
	} {
		if _, ok := solve3(&k, [3]float64{1, 1, 1}); ok {
			t.Errorf("%s: solved", name)
		}
	}
}

// twoLines is a pair of level straight lines, 30 m across to the quay, made fast
// with this much slack.
func twoLines(slackM float64) (*Rig, []float64) {
	p := &Plan{Berth: "test", Ship: Ship{LoaM: 100}} // no beam: the fairleads lie on the centre line
	for _, x := range []float64{-40, 40} {
		p.Lines = append(p.Lines, Line{Fairlead: Point{x, 0, 5}, Hook: Point{x, -30, 5},
			Material: Polyester, MBLkN: 500})
	}
	r := NewRig(p)
	for i := range r.laws {
		r.laws[i] = Law{main: straight(3000)}
	}
	return r, []float64{30 + slackM, 30 + slackM}
}

func TestSlackIsTakenUpFirst(t *testing.T) {
	// By hand: two lines of 3000 kN over 36 m, 83.33 kN/m each, take 250 kN at
	// 1.5 m, after 6 m of slack.
	r, unstretched := twoLines(6)
	e, err := r.Equilibrium(Force{SwayKN: 250}, unstretched, Pose{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "sway", e.Pose.SwayM, 7.5, 1e-6)
	near(t, "tension", e.TensionKN[0], 125, 1e-6)
	// Along the quay they take hold only by swinging round: she comes to lie at
	// tan = 3 from square off, the lines' pull across balanced by the other 50 kN.
	s := NewSolver(r)
	s.DriftM = 50
	e, err = s.Solve(Force{SurgeKN: 150, SwayKN: 50}, unstretched, Pose{})
	if err != nil {
		t.Fatal(err)
	}
	total := math.Hypot(150, 50)
	length := 36 + total/2/(3000./36)
	near(t, "surge", e.Pose.SurgeM, length*150/total, 1e-5)
	near(t, "sway, swung", e.Pose.SwayM, length*50/total-30, 1e-5)
}

func TestManySlackLines(t *testing.T) {
	// Metres of slack in every line, which comes taut and slack again on the way;
	// few ships have so much of it that they are adrift.
	adrift, all := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p, unstretched, force := anyMooring(t)
		weighty(p)
		for i := range unstretched {
			unstretched[i] += rapid.Float64Range(0, 6).Draw(t, "slack")
		}
		if _, err := NewRig(p).Equilibrium(force, unstretched, Pose{}); err != nil {
			adrift++
		}
		all++
	})
	if adrift > all/20 {
		t.Errorf("%d of %d adrift", adrift, all)
	}
}

func TestFendersShareThePush(t *testing.T) {
	// By hand: each fender's load is its stiffness times how far the ship's side,
	// turned by her yaw, lies behind the face.
	p := tanker()
	r := NewRig(p)
	e, err := r.Equilibrium(Force{SwayKN: -3000, YawKNm: 20000}, r.Pretensioned(), Pose{})
	if err != nil {
		t.Fatal(err)
	}
	cx, cy := p.Centre()
	var sum float64
	for i, f := range p.Fenders {
		sin, cos := math.Sincos(e.Pose.YawRad)
		side := cy + e.Pose.SwayM - cy*cos + (f.XM-cx-e.Pose.SurgeM-cy*sin)*sin/cos
		near(t, "fender", e.FenderKN[i], -f.StiffnessKNPerM*side, 1e-6)
		sum += e.FenderKN[i]
	}
	near(t, "sum", e.Fenders.SwayKN, sum, 1e-9)
	if !(e.FenderKN[0] > e.FenderKN[3]) {
		t.Errorf("bow pressed off, yet the forward fender bears more: %.0f kN", e.FenderKN)
	}
}

func TestNoEquilibrium(t *testing.T) {
	r := NewRig(tanker())
	gone := make([]float64, 12)
	for i := range gone {
		gone[i] = math.Inf(1)
	}
	_, err := r.Equilibrium(Force{SwayKN: 100}, gone, Pose{})
	if !errors.Is(err, ErrNoEquilibrium) || !strings.Contains(err.Error(), "berth test") {
		t.Errorf("got %v", err)
	}
	var held *NotHeldError
	if !errors.As(err, &held) || held.Share != 0 {
		t.Errorf("no line, yet it holds: %v", err)
	}
}

func TestForceThatIsNoForce(t *testing.T) {
	r := NewRig(tanker())
	for _, f := range []Force{{SwayKN: math.NaN()}, {SurgeKN: math.Inf(1)}, {YawKNm: math.Inf(-1)}} {
		if _, err := r.Equilibrium(f, r.Pretensioned(), Pose{}); !errors.Is(err, ErrNoEquilibrium) {
			t.Errorf("%+v: %v", f, err)
		}
	}
}

func TestAnswerOfAFailedSearchBelongsTogether(t *testing.T) {
	r, unstretched := twoLines(0)
	s := NewSolver(r)
	s.DriftM = 2
	e, err := s.Solve(Force{SwayKN: 1000}, unstretched, Pose{})
	if err == nil {
		t.Fatal("1000 kN held within 2 m")
	}
	near(t, "tension", e.TensionKN[0], r.TensionKN(0, unstretched[0], e.Pose), 1e-9)
}

func TestForceTheMooringHolds(t *testing.T) {
	// By hand: the ship may go 3.6 m before she counts as adrift; both lines then
	// carry 300 kN, three fifths of the force.
	r, unstretched := twoLines(0)
	s := NewSolver(r)
	s.DriftM = 3.6 // 10 % of 30 m, and 20 % of it
	if _, err := s.Solve(Force{SwayKN: 1200}, unstretched, Pose{}); !errors.Is(err, ErrNoEquilibrium) {
		t.Fatalf("got %v", err)
	}
	share, at := s.Holds(Force{SwayKN: 1200}, unstretched, Pose{})
	near(t, "share", share, 0.6, 1./1024)
	near(t, "sway", at.Pose.SwayM, 3.6, 3.6/600)
	if s.DriftM != 3.6 {
		t.Errorf("the solver's own bound is now %g m", s.DriftM)
	}
}

func TestSolverForgets(t *testing.T) {
	r := NewRig(tanker())
	s, u := NewSolver(r), r.Pretensioned()
	rapid.Check(t, func(t *rapid.T) {
		force, other := anyForce(t), anyForce(t)
		s.Solve(other, u, Pose{}) // whatever comes of it
		again, err := s.Solve(force, u, Pose{})
		if err != nil {
			t.Fatal(err)
		}
		fresh, err := NewSolver(r).Solve(force, u, Pose{})
		if err != nil {
			t.Fatal(err)
		}
		if again.Pose != fresh.Pose || again.Steps != fresh.Steps {
			t.Fatalf("%+v after another force, %+v afresh", again.Pose, fresh.Pose)
		}
	})
}

func TestSolveAllocatesNothing(t *testing.T) {
	r := NewRig(tanker())
	s, u := NewSolver(r), r.Pretensioned()
	force := Force{SwayKN: 1000, YawKNm: 5000}
	if n := testing.AllocsPerRun(20, func() {
		if _, err := s.Solve(force, u, Pose{}); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

// sixteen is the tanker on sixteen lines: both breasts and both springs twice.
func sixteen() *Plan {
	p := tanker()
	for _, i := range []int{2, 4, 6, 8} {
		l := p.Lines[i]
		l.Fairlead.X += 3
		l.Hook.X += 3
		p.Lines = append(p.Lines, l)
	}
	return p
}

// BenchmarkSolve is one equilibrium at sixteen lines: from the plan's reference,
// and from where she lay a moment ago in a little less wind.
func BenchmarkSolve(b *testing.B) {
	p := sixteen()
	r := NewRig(p)
	s, u := NewSolver(r), r.Pretensioned()
	was, err := s.Solve(p.WindForce(19.5, 318+70), u, Pose{})
	if err != nil {
		b.Fatal(err)
	}
	force := p.WindForce(20, 318+70)
	for name, start := range map[string]Pose{"cold": {}, "warm": was.Pose} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			var steps int
			for b.Loop() {
				e, err := s.Solve(force, u, start)
				if err != nil || e.TensionKN[2] < 100 {
					b.Fatal(e.TensionKN, err)
				}
				steps = e.Steps
			}
			b.ReportMetric(float64(steps), "steps")
		})
	}
}

// By hand: of four like lines under 600 kN each carries 150; one that renders at
// 100 leaves 500 to three, and two leave 400 to two.
func TestLinesThatRenderHoldTheirLoad(t *testing.T) {
	p := &Plan{Berth: "test", Ship: Ship{LoaM: 100, BeamM: 20}}
	for range 4 {
		p.Lines = append(p.Lines, Line{Hook: Point{0, -30, 0}, Material: Polyester, MBLkN: 500, PretensionKN: 50})
	}
	r := NewRig(p)
	s := NewSolver(r)
	never := math.Inf(1)
	for _, c := range []struct{ render, want []float64 }{
		{nil, []float64{150, 150, 150, 150}},
		{[]float64{never, 200, never, never}, []float64{150, 150, 150, 150}},
		{[]float64{never, 100, never, never}, []float64{500. / 3, 100, 500. / 3, 500. / 3}},
		{[]float64{100, 100, never, never}, []float64{100, 100, 200, 200}},
	} {
		s.RenderKN = c.render
		e, err := s.Solve(Force{SwayKN: 600}, r.Pretensioned(), Pose{})
		if err != nil {
			t.Fatal(err)
		}
		for i, want := range c.want {
			near(t, "tension", e.TensionKN[i], want, 1e-5)
		}
	}
	s.RenderKN = []float64{100, 100, 100, 100}
	if _, err := s.Solve(Force{SwayKN: 600}, r.Pretensioned(), Pose{}); !errors.Is(err, ErrNoEquilibrium) {
		t.Errorf("four brakes of 100 kN hold 600 kN: %v", err)
	}
}

func TestRenderingMooringHoldsWhatItsBrakesDo(t *testing.T) {
	// By hand: two lines rendering at 60 kN hold 120 kN square to them.
	r, unstretched := twoLines(0)
	s := NewSolver(r)
	s.RenderKN = []float64{60, 60}
	if _, err := s.Solve(Force{SwayKN: 150}, unstretched, Pose{}); !errors.Is(err, ErrNoEquilibrium) {
		t.Fatalf("150 kN: %v", err)
	}
	share, at := s.Holds(Force{SwayKN: 150}, unstretched, Pose{})
	near(t, "share", share, 0.8, 1./1024)
	near(t, "tension", at.TensionKN[0], 60, 0.2)
}
