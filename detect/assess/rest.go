package assess

import (
	"math"
	"slices"

	"hawser/detect/mooring"
)

// rest finds the ship at rest, time after time, for one question.
type rest struct {
	m      *Mooring
	solver *mooring.Solver
	render []float64 // what each line gives at
}

func (m *Mooring) rest() *rest {
	r := &rest{m: m, solver: mooring.NewSolver(m.rig), render: make([]float64, len(m.bounds))}
	for i := range m.bounds {
		r.render[i] = m.bounds[i].render
	}
	return r
}

// still is the ship at rest with every line holding.
func (r *rest) still(force mooring.Force, lengths []float64, from mooring.Pose) (State, error) {
	return r.solve(force, lengths, nil, from)
}

func (r *rest) solve(force mooring.Force, lengths, render []float64, from mooring.Pose) (State, error) {
	r.solver.RenderKN = render
	e, err := r.solver.Solve(force, lengths, from)
	if err != nil {
		return State{}, err
	}
	return State{e.Pose, slices.Clone(e.TensionKN), slices.Clone(e.FenderKN)}, nil
}

// settle is the ship at rest with winch brakes that render: a line that would
// carry more than its rendering load pays out and holds that. Its length grows by
// what is paid out.
func (r *rest) settle(force mooring.Force, lengths []float64, from mooring.Pose) (State, error) {
	s, err := r.solve(force, lengths, r.render, from)
	if err != nil {
		return s, err
	}
	for i, kN := range s.TensionKN {
		if r.renders(&s, i) {
			lengths[i] = r.m.rig.UnstretchedM(i, kN, s.Pose)
		}
	}
	return s, nil
}

// renders says that line i is held by a brake that has given.
func (r *rest) renders(s *State, i int) bool { return s.TensionKN[i] >= r.render[i] }

// worked is the ship at rest with line i worked to a load, whatever length that
// takes; that length is set.
func (r *rest) worked(force mooring.Force, lengths []float64, i int, kN float64, from mooring.Pose) (State, error) {
	const (
		reserve  = 5.0 // metres, more than the ship goes: the winch gives at the load
		shortest = 0.5
	)
	to := make([]float64, len(lengths))
	for j := range to {
		to[j] = math.Inf(1)
	}
	was := lengths[i]
	to[i], lengths[i] = kN, max(r.m.rig.UnstretchedM(i, kN, from)-reserve, shortest)
	s, err := r.solve(force, lengths, to, from)
	if err != nil {
		lengths[i] = was
		return s, err
	}
	lengths[i] = r.m.rig.UnstretchedM(i, kN, s.Pose)
	return s, nil
}
