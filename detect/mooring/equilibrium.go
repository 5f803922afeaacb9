package mooring

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// ErrNoEquilibrium says that the solver found no place where the ship lies
// still: lines all slack, or a load the mooring cannot take.
var ErrNoEquilibrium = errors.New("no equilibrium")

// Equilibrium is where the ship lies still under a steady force.
type Equilibrium struct {
	Pose      Pose
	TensionKN []float64 // by line
	Lines     Force     // the lines' pull
	Fenders   Force     // the fenders' push
	// ResidualKN is the force left over, its moment taken on a quarter of the
	// ship's length.
	ResidualKN float64
	Steps      int
}

const (
	maxSteps = 200
	// balance is the residual, of all forces at work, at which the ship is still.
	balance = 1e-10
	// floorKN ends the search where hardly any force is at work.
	floorKN = 1e-9
	// longestStepM bounds one step, so that a soft start does not fling the ship
	// out of the reach of her lines' curves.
	longestStepM = 2.0
)

// Equilibrium finds the surge, sway and yaw at which lines and fenders balance
// the force, from the start pose, whose rise stays as it is. It takes Newton's
// steps on the forces, stiffened where the mooring is slack and shortened where
// they overshoot.
func (r *Rig) Equilibrium(force Force, unstretchedM []float64, start Pose) (Equilibrium, error) {
	s := search{rig: r, force: force, unstretched: unstretchedM, lever: max(r.plan.Ship.LoaM/4, 1)}
	at, damping := s.look(start), 0.0
	for step := 1; step <= maxSteps; step++ {
		if at.residual <= balance*at.total+floorKN {
			return s.found(at, step-1), nil
		}
		next, ok := s.step(&at, damping)
		switch {
		case ok:
			at, damping = next, damping/4
		case damping == 0:
			damping = 1e-3
		default:
			damping *= 8
		}
		if damping > 1e9 {
			break
		}
	}
	return Equilibrium{}, fmt.Errorf("berth %s: %w: residual %.3g kN after at most %d steps",
		r.plan.Berth, ErrNoEquilibrium, at.residual, maxSteps)
}

// search is one search for equilibrium. Yaw is measured on the lever so that
// all three degrees of freedom are lengths and all three loads are forces.
type search struct {
	rig         *Rig
	force       Force
	unstretched []float64
	lever       float64
}

// probe is the loads at one pose.
type probe struct {
	pose           Pose
	lines, fenders Force
	out            [3]float64 // out of balance
	residual       float64
	total          float64 // size of the forces at work
}

func (s *search) scaled(f Force) [3]float64 {
	return [3]float64{f.SurgeKN, f.SwayKN, f.YawKNm / s.lever}
}

func norm(v [3]float64) float64 { return math.Sqrt(v[0]*v[0] + v[1]*v[1] + v[2]*v[2]) }

func (s *search) look(at Pose) probe {
	p := probe{pose: at}
	tension := make([]float64, len(s.unstretched))
	p.lines = s.rig.LineForces(at, s.unstretched, tension)
	p.fenders = s.rig.FenderForces(at)
	p.out = s.scaled(s.force.Plus(p.lines).Plus(p.fenders))
	p.residual = norm(p.out)
	p.total = norm(s.scaled(s.force)) + norm(s.scaled(p.fenders))
	for _, t := range tension {
		p.total += t
	}
	return p
}

// step tries one step from a probe, false where no length of it helps.
func (s *search) step(at *probe, damping float64) (probe, bool) {
	k := s.rig.Stiffness(at.pose, s.unstretched)
	scale := [3]float64{1, 1, 1 / s.lever}
	sym := mat.NewSymDense(3, nil)
	var trace float64
	for i := range 3 {
		trace += k[i][i] * scale[i] * scale[i]
	}
	for i := range 3 {
		for j := i; j < 3; j++ {
			sym.SetSym(i, j, k[i][j]*scale[i]*scale[j])
		}
		sym.SetSym(i, i, sym.At(i, i)+damping*max(trace/3, 1))
	}
	var chol mat.Cholesky
	var move mat.VecDense
	if !chol.Factorize(sym) || chol.SolveVecTo(&move, mat.NewVecDense(3, at.out[:])) != nil {
		return probe{}, false
	}
	share := min(1, longestStepM/mat.Norm(&move, 2))
	for range 12 {
		p := at.pose
		p.SurgeM += share * move.AtVec(0)
		p.SwayM += share * move.AtVec(1)
		p.YawRad += share * move.AtVec(2) / s.lever
		if next := s.look(p); math.Abs(p.YawRad) < 1 && next.residual < at.residual {
			return next, true
		}
		share /= 2
	}
	return probe{}, false
}

func (s *search) found(at probe, steps int) Equilibrium {
	e := Equilibrium{Pose: at.pose, Lines: at.lines, Fenders: at.fenders,
		ResidualKN: at.residual, Steps: steps, TensionKN: make([]float64, len(s.unstretched))}
	s.rig.LineForces(at.pose, s.unstretched, e.TensionKN)
	return e
}
