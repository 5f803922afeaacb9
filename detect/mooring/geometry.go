package mooring

import "math"

// Pose is where the ship lies, against the state in which the plan's
// coordinates hold. The ship turns about her Centre.
//
//	  +y (to the water)
//	   ▲      ┌───────────── ship ──────────────╲
//	   │      │ aft            ·Centre       fwd  ⟩  yaw > 0: bow toward +y,
//	   │      └─────────────────────────────────╱      whichever side is alongside
//	0 ─┼──────────▒───── fender face ─────▒──────────► +x
type Pose struct {
	SurgeM float64 // along +x
	SwayM  float64 // along +y
	YawRad float64 // from +x toward +y
	// RiseFwdM and RiseAftM are the height gained by the ship's ends, half her
	// length before and behind the Centre.
	RiseFwdM, RiseAftM float64
}

// Centre is the point the ship turns about and the forces' moments are taken
// about: amidships, half her beam off the fenders. The plan does not say where
// amidships is. Fairleads at both ends do, to a few per cent of her length;
// where they span less than half of it, the frame's x = 0 has to serve.
func (p *Plan) Centre() (xM, yM float64) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range p.Lines {
		lo = min(lo, p.Lines[i].Fairlead.X)
		hi = max(hi, p.Lines[i].Fairlead.X)
	}
	if hi-lo >= p.Ship.LoaM/2 {
		xM = (lo + hi) / 2
	}
	return xM, p.Ship.BeamM / 2
}

// Rise is how far the ship's ends lie above the plan's reference at this water
// level (metres above chart datum) and these drafts (metres, read at the ends):
// up with the water, down with the draft, trim between.
func (p *Plan) Rise(waterLevelM, draftFwdM, draftAftM float64) (fwdM, aftM float64) {
	up := waterLevelM - p.Reference.WaterLevelM
	return up - (draftFwdM - p.Reference.DraftFwdM), up - (draftAftM - p.Reference.DraftAftM)
}

// Span is the straight run of a line from fairlead to hook.
type Span struct {
	Fairlead Point
	LengthM  float64
	// Unit points from fairlead to hook; the line pulls the ship along it.
	Unit Point
}

// HorizontalRad is the angle of the line to the quay seen from above, 0 along
// it to Pi/2 square off it.
func (s *Span) HorizontalRad() float64 {
	return math.Atan2(math.Abs(s.Unit.Y), math.Abs(s.Unit.X))
}

// VerticalRad is the angle of the line below the horizontal, negative where the
// hook lies above the fairlead.
func (s *Span) VerticalRad() float64 {
	return math.Atan2(-s.Unit.Z, math.Hypot(s.Unit.X, s.Unit.Y))
}

// turned is a pose with the work done once for all lines.
type turned struct {
	Pose
	sin, cos float64
	rise     float64 // at the centre
	trim     float64 // rise per metre forward of the centre
}

func (r *Rig) turn(at Pose) turned {
	sin, cos := math.Sincos(at.YawRad)
	t := turned{Pose: at, sin: sin, cos: cos, rise: (at.RiseFwdM + at.RiseAftM) / 2}
	if r.plan.Ship.LoaM > 0 {
		t.trim = (at.RiseFwdM - at.RiseAftM) / r.plan.Ship.LoaM
	}
	return t
}

// arm is the horizontal way from the ship's moved centre to line i's fairlead.
func (r *Rig) arm(i int, t *turned) (x, y float64) {
	f := &r.plan.Lines[i].Fairlead
	dx, dy := f.X-r.centreX, f.Y-r.centreY
	return t.cos*dx - t.sin*dy, t.sin*dx + t.cos*dy
}

// span is line i's run, with its arm.
func (r *Rig) span(i int, t *turned) (s Span, armX, armY float64) {
	l := &r.plan.Lines[i]
	armX, armY = r.arm(i, t)
	s.Fairlead = Point{
		X: r.centreX + t.SurgeM + armX,
		Y: r.centreY + t.SwayM + armY,
		Z: l.Fairlead.Z + t.rise + t.trim*(l.Fairlead.X-r.centreX),
	}
	dx, dy, dz := l.Hook.X-s.Fairlead.X, l.Hook.Y-s.Fairlead.Y, l.Hook.Z-s.Fairlead.Z
	s.LengthM = math.Sqrt(dx*dx + dy*dy + dz*dz)
	if s.LengthM > 0 {
		s.Unit = Point{X: dx / s.LengthM, Y: dy / s.LengthM, Z: dz / s.LengthM}
	}
	return s, armX, armY
}

// Span is line i's straight run from fairlead to hook with the ship at this
// pose. Trim lifts the fairleads; the little it moves them along is left out,
// and so is heel.
func (r *Rig) Span(i int, at Pose) Span {
	t := r.turn(at)
	s, _, _ := r.span(i, &t)
	return s
}
