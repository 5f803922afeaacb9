package mooring

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/optimize"
	"pgregory.net/rapid"
)

// anyMooring draws a ship alongside: 4 to 16 lines of any material from her rail
// to the quay, some slack, and fenders. Forces are drawn of the size of a few
// lines' strength.
func anyMooring(t *rapid.T) (*Plan, []float64, Force) {
	loa := rapid.Float64Range(60, 350).Draw(t, "loa")
	p := &Plan{Berth: "test", Ship: Ship{LoaM: loa, BeamM: loa / 6}}
	for _, x := range []float64{-0.3, -0.1, 0.1, 0.3} {
		p.Fenders = append(p.Fenders, Fender{XM: x * loa, StiffnessKNPerM: 20 * loa})
	}
	mbl := 3.5 * loa
	n := rapid.IntRange(2, 8).Draw(t, "pairs")
	for i := range 2 * n {
		// Alternately forward and aft, so that she is held at both ends.
		end := float64(1 - 2*(i%2))
		l := anyLaw(t)
		line := Line{ID: fmt.Sprint(i + 1), MBLkN: mbl, PretensionKN: 0.1 * mbl,
			Material: rapid.SampledFrom([]Material{SteelWire, HMPE, Polyester, Polyamide}).Draw(t, "material"),
			InboardM: rapid.Float64Range(2, 20).Draw(t, "inboard")}
		x := end * loa * rapid.Float64Range(0.2, 0.48).Draw(t, "along")
		line.Fairlead = Point{x, rapid.Float64Range(0, 5).Draw(t, "in"), rapid.Float64Range(5, 18).Draw(t, "height")}
		line.Hook = Point{x + loa*rapid.Float64Range(-0.25, 0.25).Draw(t, "lead"),
			-rapid.Float64Range(3, 45).Draw(t, "off"), rapid.Float64Range(2, 6).Draw(t, "hook")}
		if l.tailM > 0 {
			line.Tail = &Tail{Material: Polyamide, LengthM: min(l.tailM, 11), MBLkN: 1.3 * mbl}
		}
		p.Lines = append(p.Lines, line)
	}
	r := NewRig(p)
	unstretched := r.Pretensioned()
	for i := range unstretched {
		unstretched[i] += rapid.Float64Range(-0.1, 0.8).Draw(t, "paid out")
	}
	force := Force{rapid.Float64Range(-0.3, 0.3).Draw(t, "surge") * mbl,
		rapid.Float64Range(-2, 1).Draw(t, "sway") * mbl, rapid.Float64Range(-0.1, 0.1).Draw(t, "yaw") * mbl * loa}
	return p, unstretched, force
}

// weighty gives every line the diameter its strength would have.
func weighty(p *Plan) {
	for i := range p.Lines {
		l := &p.Lines[i]
		l.DiameterMM = 50 * math.Sqrt(l.MBLkN/l.Material.BreakingLoadKN(50))
		if l.Tail != nil {
			l.Tail.DiameterMM = 50 * math.Sqrt(l.Tail.MBLkN/l.Tail.Material.BreakingLoadKN(50))
		}
	}
}

func TestForcesBalanceInAnyMooring(t *testing.T) {
	converged, all := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p, unstretched, force := anyMooring(t)
		if rapid.Bool().Draw(t, "with weight") {
			weighty(p)
		}
		r := NewRig(p)
		rise := rapid.Float64Range(-2, 4).Draw(t, "rise")
		e, err := r.Equilibrium(force, unstretched, Pose{RiseFwdM: rise, RiseAftM: rise / 2})
		all++
		if err != nil {
			var held *NotHeldError
			if !errors.As(err, &held) || !(held.Share >= 0 && held.Share < 1) {
				t.Fatal(err)
			}
			return
		}
		converged++
		// Summed again here, from tensions and fender loads and the geometry alone.
		cx, cy := p.Centre()
		sin, cos := math.Sincos(e.Pose.YawRad)
		sum, total := force, math.Abs(force.SurgeKN)+math.Abs(force.SwayKN)+math.Abs(force.YawKNm)/p.Ship.LoaM
		add := func(x, y, fx, fy float64) {
			ax, ay := x-cx-e.Pose.SurgeM, y-cy-e.Pose.SwayM
			sum = sum.Plus(Force{fx, fy, ax*fy - ay*fx})
			total += math.Hypot(fx, fy)
		}
		for i, pull := range e.TensionKN {
			s := r.Span(i, e.Pose)
			add(s.Fairlead.X, s.Fairlead.Y, pull*s.Unit.X, pull*s.Unit.Y)
		}
		for i, push := range e.FenderKN {
			if push < 0 {
				t.Fatalf("fender %d pulls: %g kN", i+1, push)
			}
			// Where the side crosses the fender's line, square to the side.
			x := p.Fenders[i].XM
			y := cy + e.Pose.SwayM - cy*cos + (x-cx-e.Pose.SurgeM-cy*sin)*sin/cos
			add(x, y, -push*sin/cos, push)
		}
		for _, left := range []float64{sum.SurgeKN, sum.SwayKN, sum.YawKNm / p.Ship.LoaM} {
			if math.Abs(left) > 1e-6*total+1e-6 { // a millionth, or a millinewton where nothing is at work
				t.Fatalf("out of balance: %+v of %g kN", sum, total)
			}
		}
	})
	if converged < all*3/4 {
		t.Errorf("%d of %d had an equilibrium", converged, all)
	}
}

// potential is the energy of straight lines and fenders less the force's work
// with the ship at this pose, kJ, from the plan alone.
func potential(p *Plan, laws []Law, unstretched []float64, force Force, at Pose) float64 {
	cx, cy := p.Centre()
	sin, cos := math.Sincos(at.YawRad)
	sum := -(force.SurgeKN*at.SurgeM + force.SwayKN*at.SwayM + force.YawKNm*at.YawRad)
	for i, l := range p.Lines {
		dx, dy := l.Fairlead.X-cx, l.Fairlead.Y-cy
		x, y := cx+at.SurgeM+cos*dx-sin*dy, cy+at.SwayM+sin*dx+cos*dy
		run := math.Hypot(math.Hypot(l.Hook.X-x, l.Hook.Y-y), l.Hook.Z-l.Fairlead.Z)
		pull := laws[i].TensionKN(run+l.InboardM, unstretched[i])
		sum += laws[i].Stored(pull, unstretched[i]).EnergyKJ()
	}
	for _, f := range p.Fenders {
		side := cy + at.SwayM - cy*cos + (f.XM-cx-at.SurgeM-cy*sin)*sin/cos
		sum += f.StiffnessKNPerM * min(side, 0) * min(side, 0) / 2
	}
	return sum
}

func TestEquilibriumIsWhereEnergyIsLeast(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, unstretched, force := anyMooring(t)
		r := NewRig(p)
		e, err := r.Equilibrium(force, unstretched, Pose{})
		if err != nil {
			return
		}
		lever := p.Ship.LoaM / 4
		alone := slices.Max(e.TensionKN) == 0 // fenders alone do not hold her along them
		pose := func(q []float64) Pose {
			at := Pose{SurgeM: q[0], SwayM: q[1], YawRad: q[2] / lever}
			if alone {
				at.SurgeM = e.Pose.SurgeM
			}
			return at
		}
		energy := func(q []float64) float64 { return potential(p, r.laws, unstretched, force, pose(q)) }
		found := []float64{e.Pose.SurgeM, e.Pose.SwayM, e.Pose.YawRad * lever}
		// From so many metres off, down to the least by a method that knows no forces.
		leastFrom := func(off float64) []float64 {
			q := []float64{found[0] + 0.6*off, found[1] + 0.6*off, found[2] - 0.5*off}
			for range 3 {
				got, err := optimize.Minimize(optimize.Problem{Func: energy}, q, &optimize.Settings{
					Converger: &optimize.FunctionConverge{Absolute: 1e-12, Relative: 1e-15, Iterations: 60}}, &optimize.NelderMead{SimplexSize: 0.05 * off})
				if err != nil {
					t.Fatal(err)
				}
				q = got.X
			}
			return q
		}
		here, q := energy(found), leastFrom(1)
		if energy(q) < here-1e-6 && slices.Min(e.TensionKN) == 0 { // a slack line lets her lie elsewhere too
			q = leastFrom(0.01)
		}
		if there := energy(q); there < here-1e-6 {
			t.Fatalf("%.9g kJ at %+v, %.9g kJ at %+v", here, e.Pose, there, pose(q))
		}
		there := make([]float64, len(unstretched))
		r.LineForces(pose(q), unstretched, there)
		for i := range there {
			if math.Abs(there[i]-e.TensionKN[i]) > 0.002*p.Lines[i].MBLkN {
				t.Fatalf("line %d: %g kN, %g where energy is least", i+1, e.TensionKN[i], there[i])
			}
		}
	})
}

func TestLoadsGoWithTheUnitOfForce(t *testing.T) {
	// Everything in pounds-force, or whatever: all strengths, stiffnesses, weights
	// and forces times a number leave the ship where she is and give loads times it.
	rapid.Check(t, func(t *rapid.T) {
		p, unstretched, force := anyMooring(t)
		weighty(p)
		unit := rapid.Float64Range(0.01, 300).Draw(t, "unit")
		q := *p
		q.Lines = append([]Line(nil), p.Lines...)
		q.Fenders = append([]Fender(nil), p.Fenders...)
		for i := range q.Fenders {
			q.Fenders[i].StiffnessKNPerM *= unit
		}
		for i := range q.Lines {
			l := &q.Lines[i]
			l.MBLkN *= unit
			l.DiameterMM *= math.Sqrt(unit)
			if l.Tail != nil {
				tail := *l.Tail
				tail.MBLkN *= unit
				tail.DiameterMM *= math.Sqrt(unit)
				l.Tail = &tail
			}
		}
		e, err := NewRig(p).Equilibrium(force, unstretched, Pose{})
		f, err2 := NewRig(&q).Equilibrium(force.times(unit), unstretched, Pose{})
		if err != nil || err2 != nil {
			return
		}
		for i := range e.TensionKN {
			if math.Abs(unit*e.TensionKN[i]-f.TensionKN[i]) > 1e-5*q.Lines[i].MBLkN {
				t.Fatalf("line %d: %g kN, %g in units of 1/%g kN", i+1, e.TensionKN[i], f.TensionKN[i], unit)
			}
		}
	})
}

func TestTurningTheAxesLeavesTheLoads(t *testing.T) {
	// The same mooring without its fenders, which tie the frame to the quay, laid
	// out afresh in axes turned about the ship's centre.
	rapid.Check(t, func(t *rapid.T) {
		p, unstretched, force := anyMooring(t)
		p.Fenders = nil
		force.SwayKN = math.Abs(force.SwayKN)
		weighty(p)
		p.Ship.BeamM = 0 // her centre at the origin of both
		for i := range p.Lines {
			p.Lines[i].Fairlead.X = float64(1-2*(i%2)) * math.Abs(p.Lines[i].Fairlead.X)
		}
		r := NewRig(p)
		angle := rapid.Float64Range(0.1, 6).Draw(t, "angle")
		sin, cos := math.Sincos(angle)
		q := *p
		q.Lines = append([]Line(nil), p.Lines...)
		turn := func(v Point) Point {
			return Point{r.centreX + cos*(v.X-r.centreX) - sin*v.Y, sin*(v.X-r.centreX) + cos*v.Y, v.Z}
		}
		for i := range q.Lines {
			q.Lines[i].Fairlead, q.Lines[i].Hook = turn(p.Lines[i].Fairlead), turn(p.Lines[i].Hook)
		}
		o := NewRig(&q)
		o.centreX = r.centreX
		e, err := r.Equilibrium(force, unstretched, Pose{})
		f, err2 := o.Equilibrium(Force{cos*force.SurgeKN - sin*force.SwayKN, sin*force.SurgeKN + cos*force.SwayKN,
			force.YawKNm}, unstretched, Pose{})
		if err != nil || err2 != nil {
			return
		}
		for i := range e.TensionKN {
			if math.Abs(e.TensionKN[i]-f.TensionKN[i]) > 1e-5*p.Lines[i].MBLkN {
				t.Fatalf("line %d: %g kN, %g in turned axes", i+1, e.TensionKN[i], f.TensionKN[i])
			}
		}
	})
}
