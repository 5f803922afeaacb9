package mooring

// Force is a load on the ship in the plan's frame: along +x, along +y, and the
// moment about her Centre from +x toward +y.
type Force struct {
	SurgeKN, SwayKN, YawKNm float64
}

// Plus is the sum of two forces.
func (f Force) Plus(g Force) Force {
	return Force{f.SurgeKN + g.SurgeKN, f.SwayKN + g.SwayKN, f.YawKNm + g.YawKNm}
}

func (f Force) times(share float64) Force {
	return Force{share * f.SurgeKN, share * f.SwayKN, share * f.YawKNm}
}

// Rig is a plan made ready to reckon with: its lines' laws and its geometry.
// The lengths of the lines are the caller's, one unstretched length a line from
// drum or bitts to hook, metres, +Inf for a line that is not made fast. A Rig is
// read-only and safe for concurrent use.
type Rig struct {
	plan             *Plan
	laws             []Law
	centreX, centreY float64
}

// NewRig makes the plan ready. The plan must not change afterwards.
func NewRig(p *Plan) *Rig {
	r := &Rig{plan: p, laws: make([]Law, len(p.Lines))}
	r.centreX, r.centreY = p.Centre()
	for i := range r.laws {
		r.laws[i] = NewLaw(p, i)
	}
	return r
}

// Law is line i's law.
func (r *Rig) Law(i int) *Law { return &r.laws[i] }

// LengthM is line i's whole stretched length, drum or bitts to hook.
func (r *Rig) LengthM(i int, at Pose) float64 {
	s := r.Span(i, at)
	return s.LengthM + r.plan.Lines[i].InboardM
}

// UnstretchedM is the unstretched length, drum or bitts to hook, at which line i
// pulls with this load, 0 kN or more, with the ship at this pose. A load less
// than the line's own weight counts as that weight.
func (r *Rig) UnstretchedM(i int, tensionKN float64, at Pose) float64 {
	s := r.Span(i, at)
	return r.laws[i].hungM(&s, r.plan.Lines[i].InboardM, tensionKN)
}

// TensionKN is the pull of line i along its run at an unstretched length, with
// the ship at this pose.
func (r *Rig) TensionKN(i int, unstretchedM float64, at Pose) float64 {
	s := r.Span(i, at)
	pull, _ := r.laws[i].hang(&s, r.plan.Lines[i].InboardM, unstretchedM, 0)
	return pull
}

// Pretensioned is the unstretched length of each line such that it carries its
// pretension with the ship at the plan's reference. Left to herself she then
// leans a little further into the fenders and the loads settle lower.
func (r *Rig) Pretensioned() []float64 {
	out := make([]float64, len(r.laws))
	for i := range out {
		out[i] = r.UnstretchedM(i, r.plan.Lines[i].PretensionKN, Pose{})
	}
	return out
}

// LineForces is the pull of all lines on the ship. Each line's pull along its run
// goes to tensionKN where that is not nil; what stands there before is where the
// search for it begins, 0 for nowhere.
func (r *Rig) LineForces(at Pose, unstretchedM, tensionKN []float64) Force {
	t := r.turn(at)
	return r.pulls(&t, unstretchedM, nil, tensionKN, nil)
}

// FenderForces is the push of all fenders on the ship's straight side: square to
// it, and only where she lies against them.
func (r *Rig) FenderForces(at Pose) Force {
	t := r.turn(at)
	return r.pushes(&t, nil, nil)
}

// loads are the forces of lines and fenders. A line that would carry more than
// its rendering load pays out and carries that, where renderKN is not nil.
// Tensions, fender loads and the stiffness go where there is somewhere to put
// them.
func (r *Rig) loads(t *turned, unstretchedM, renderKN, tensionKN, fenderKN []float64, k *[3][3]float64) (lines, fenders Force) {
	return r.pulls(t, unstretchedM, renderKN, tensionKN, k), r.pushes(t, fenderKN, k)
}

func (r *Rig) pulls(t *turned, unstretchedM, renderKN, tensionKN []float64, k *[3][3]float64) Force {
	var sum Force
	for i := range r.laws {
		s, armX, armY := r.span(i, t)
		var near float64
		if tensionKN != nil {
			near = tensionKN[i]
		}
		pull, stretch := r.laws[i].hang(&s, r.plan.Lines[i].InboardM, unstretchedM[i], near)
		if renderKN != nil && pull >= renderKN[i] {
			pull, stretch = renderKN[i], 0
		}
		if tensionKN != nil {
			tensionKN[i] = pull
		}
		if pull == 0 {
			continue
		}
		fx, fy := pull*s.Unit.X, pull*s.Unit.Y
		sum.SurgeKN += fx
		sum.SwayKN += fy
		sum.YawKNm += armX*fy - armY*fx
		if k != nil {
			addLine(k, &s, armX, armY, pull, stretch)
		}
	}
	return sum
}

func (r *Rig) pushes(t *turned, fenderKN []float64, k *[3][3]float64) Force {
	var sum Force
	for i := range r.plan.Fenders {
		f, c := r.touch(i, t), r.plan.Fenders[i].StiffnessKNPerM
		push := c * max(0, -f.gapM)
		if fenderKN != nil {
			fenderKN[i] = push
		}
		if push > 0 {
			addFender(&sum, k, &f, push, c)
		}
	}
	return sum
}
