package mooring

import (
	"fmt"
	"math"
)

const (
	maxSteps = 200
	// balance is the residual, of all forces at work, at which the ship is still.
	balance = 1e-10
	// floorKN, a millinewton, ends the search where hardly any force is at work.
	floorKN = 1e-6
	// firstStepM bounds the first step, so that a soft start does not fling the
	// ship about. It grows while she has further to go.
	firstStepM = 2.0
	// mostYaw, radians, is a ship swung away from her berth.
	mostYaw = 1.0
)

// Solver finds equilibria of one rig, one after another, in memory it keeps: a
// solve allocates nothing. It is not safe for concurrent use; make one for each
// goroutine.
//
// The ship lies still where the energy of lines and fenders, less the work of
// the force, is least. Newton's steps go down that energy. A step that passes
// the lowest point on its way is cut back by the slope found there, which holds
// through slack lines and fenders just touching, where the slope has corners.
type Solver struct {
	// DriftM is how far she may move from the start before she counts as adrift: a
	// quarter of her length unless set, and 20 m at least.
	DriftM float64
	// RenderKN is by line the load at which it pays out and holds that load, as a
	// winch brake does that renders; +Inf for a line that never does. nil: none
	// does.
	RenderKN []float64

	rig         *Rig
	lever       float64 // yaw is measured on it, so that all unknowns are lengths
	force       Force
	unstretched []float64
	tensionKN   []float64
	fenderKN    []float64
}

// NewSolver makes a solver for the rig.
func NewSolver(r *Rig) *Solver {
	return &Solver{
		rig:       r,
		DriftM:    max(r.plan.Ship.LoaM/4, 20),
		lever:     max(r.plan.Ship.LoaM/4, 1),
		tensionKN: make([]float64, len(r.laws)),
		fenderKN:  make([]float64, len(r.plan.Fenders)),
	}
}

// probe is the loads at one pose.
type probe struct {
	pose           Pose
	lines, fenders Force
	stiffness      [3][3]float64 // on the lever
	out            [3]float64    // out of balance
	residual       float64
	total          float64 // size of the forces at work
}

// still reports whether what is left over is rounding.
func (p *probe) still() bool {
	return p.residual <= balance*p.total+floorKN && !math.IsInf(p.residual, 1)
}

// Solve finds the surge, sway and yaw at which lines and fenders balance the
// force, from the start pose, whose rise stays as it is. The same arguments give
// the same answer whatever was solved before. The answer's slices are the
// solver's own and hold until the next solve. Where there is no equilibrium the
// error is ErrNoEquilibrium, wrapped, and the answer says where the search
// ended.
func (s *Solver) Solve(force Force, unstretchedM []float64, start Pose) (Equilibrium, error) {
	s.force, s.unstretched = force, unstretchedM
	clear(s.tensionKN)
	at := s.look(start)
	reach := firstStepM
	steps := 0
	for ; steps < maxSteps && !at.still(); steps++ {
		next, length, ok := s.step(&at, reach)
		if !ok || math.Abs(next.pose.YawRad) > mostYaw ||
			math.Hypot(next.pose.SurgeM-start.SurgeM, next.pose.SwayM-start.SwayM) > s.DriftM {
			break
		}
		reach = max(firstStepM, 2*length)
		at = next
	}
	if !at.still() {
		at = s.look(at.pose) // not where a step was last tried
	}
	e := Equilibrium{Pose: at.pose, Lines: at.lines, Fenders: at.fenders, ResidualKN: at.residual,
		Steps: steps, TensionKN: s.tensionKN, FenderKN: s.fenderKN}
	if !at.still() {
		return e, fmt.Errorf("berth %s: %w: residual %.3g kN after %d steps",
			s.rig.plan.Berth, ErrNoEquilibrium, at.residual, steps)
	}
	return e, nil
}

// Holds is the largest share of the force, all its parts alike, under which the
// ship still has an equilibrium, 0 to 1 and to a thousandth, and that
// equilibrium, as Solve gives it.
func (s *Solver) Holds(force Force, unstretchedM []float64, start Pose) (share float64, at Equilibrium) {
	const fine = 1. / 1024
	pose, drift := start, s.DriftM
	for step := 1.; step >= fine; step /= 2 {
		for share+step <= 1 {
			e, err := s.Solve(force.times(share+step), unstretchedM, pose)
			if err != nil {
				break
			}
			share, pose = share+step, e.Pose
			s.DriftM = drift - math.Hypot(pose.SurgeM-start.SurgeM, pose.SwayM-start.SwayM)
		}
	}
	s.DriftM = drift
	at, err := s.Solve(force.times(share), unstretchedM, pose)
	if err != nil {
		return 0, at
	}
	return share, at
}

// look reckons the loads and the stiffness with the ship at this pose.
func (s *Solver) look(pose Pose) probe {
	p := probe{pose: pose}
	t := s.rig.turn(pose)
	p.lines, p.fenders = s.rig.loads(&t, s.unstretched, s.RenderKN, s.tensionKN, s.fenderKN, &p.stiffness)
	scale := [3]float64{1, 1, 1 / s.lever}
	for i := range 3 {
		for j := range 3 {
			p.stiffness[i][j] *= scale[i] * scale[j]
		}
	}
	p.out = s.scaled(s.force.Plus(p.lines).Plus(p.fenders))
	p.residual = norm(p.out)
	p.total = norm(s.scaled(s.force)) + norm(s.scaled(p.fenders))
	for _, tension := range s.tensionKN {
		p.total += tension
	}
	return p
}

func (s *Solver) scaled(f Force) [3]float64 {
	return [3]float64{f.SurgeKN, f.SwayKN, f.YawKNm / s.lever}
}

func norm(v [3]float64) float64 { return math.Sqrt(dot(v, v)) }

func dot(a, b [3]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// step goes one step from a probe, no longer than reach (metres), and says how
// long it was; false where no step goes down.
func (s *Solver) step(at *probe, reach float64) (next probe, length float64, ok bool) {
	move, ok := heading(at, reach)
	if !ok {
		return probe{}, 0, false
	}
	down := dot(at.out, move)
	share := 1.0
	for range 40 {
		p := at.pose
		p.SurgeM += share * move[0]
		p.SwayM += share * move[1]
		p.YawRad += share * move[2] / s.lever
		next = s.look(p)
		ahead := dot(next.out, move)
		if ahead >= -down/2 || next.still() {
			return next, share * norm(move), true
		}
		// The lowest point is passed: back to where the slope would be level.
		share *= min(max(down/(down-ahead), 0.05), 0.7)
	}
	return probe{}, 0, false
}

// heading is Newton's step from a probe, held to the reach. Where the mooring is
// so soft that the step would go beyond, or has no stiffness of its own in some
// direction, it is stiffened alike in all: the stiff directions, which need
// little, then go their way while the soft one is held back.
func heading(at *probe, reach float64) (move [3]float64, ok bool) {
	k := at.stiffness
	if move, ok = solve3(&k, at.out); ok && norm(move) <= reach {
		return move, true
	}
	for damping := 1e-3 * at.residual / reach; damping <= 1e12; damping *= 4 {
		k = at.stiffness
		for i := range 3 {
			k[i][i] += damping
		}
		if move, ok = solve3(&k, at.out); ok && norm(move) <= reach {
			return move, true
		}
	}
	return move, false
}
