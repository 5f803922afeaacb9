package mooring

import (
	"errors"
	"fmt"
)

// ErrNoEquilibrium says that the solver found no place where the ship lies
// still: lines all slack, or a load the mooring cannot take.
var ErrNoEquilibrium = errors.New("no equilibrium")

// Equilibrium is where the ship lies still under a steady force.
type Equilibrium struct {
	Pose      Pose
	TensionKN []float64 // by line
	FenderKN  []float64 // by fender, along +y
	Lines     Force     // the lines' pull
	Fenders   Force     // the fenders' push
	// ResidualKN is the force left over, its moment taken on a quarter of the
	// ship's length.
	ResidualKN float64
	Steps      int
}

// NotHeldError says that a mooring has no equilibrium under a force, and how
// much of the force it does hold. It unwraps to ErrNoEquilibrium.
type NotHeldError struct {
	Berth string
	Force Force
	// Share of the force, each part of it alike, that has an equilibrium still; 0
	// where there is none even without the force.
	Share      float64
	ResidualKN float64 // where the search ended
	Steps      int
}

func (e *NotHeldError) Error() string {
	return fmt.Sprintf("berth %s: %v: residual %.3g kN after %d steps; the mooring holds %.2f of the force",
		e.Berth, ErrNoEquilibrium, e.ResidualKN, e.Steps, e.Share)
}

func (e *NotHeldError) Unwrap() error { return ErrNoEquilibrium }

// Equilibrium finds the surge, sway and yaw at which lines and fenders balance
// the force, from the start pose, whose rise stays as it is. Where there is none
// the error is a *NotHeldError. Who solves many takes a Solver.
func (r *Rig) Equilibrium(force Force, unstretchedM []float64, start Pose) (Equilibrium, error) {
	s := NewSolver(r)
	e, err := s.Solve(force, unstretchedM, start)
	if err != nil {
		share, _ := s.Holds(force, unstretchedM, start)
		return Equilibrium{}, &NotHeldError{Berth: r.plan.Berth, Force: force, Share: share,
			ResidualKN: e.ResidualKN, Steps: e.Steps}
	}
	return e, nil
}
