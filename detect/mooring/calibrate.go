package mooring

import "math"

// Measured is what is known of a mooring now.
type Measured struct {
	// LoadKN is the loads, one a line: NaN for a line without a pin, or with one that
	// is not to be believed.
	LoadKN []float64
	// Force is what is known of the steady force on the ship, as reckoned from the
	// wind and current; zero for nothing. See Calibrate for what it decides.
	Force Force
	// At is the ship's rise from water level and drafts, and where along the quay
	// she is taken to lie.
	At Pose
}

// Calibration is a mooring put in line with its measured loads: under Steady,
// with these unstretched lengths, the ship lies still at Pose and every line
// carries its TensionKN.
type Calibration struct {
	UnstretchedM []float64
	TensionKN    []float64
	Assumed      []bool // by line: its load is an estimate
	Pose         Pose
	Steady       Force // what balances lines and fenders
	Unexplained  Force // Steady less the force that was known
}

// Calibrate finds the lengths, the pose and the steady force at which the
// mooring carries the measured loads. Loads alone do not tell these apart, and
// the choices are:
//
// The ship's place. Moving her and working every winch to match leaves the loads
// as they are, and what comes of a change from here hardly depends on it. Surge is
// kept as given; sway and yaw are those at which the fenders bear what lines and
// known force press onto them.
//
// The steady force. A push of the fenders and a wind off the quay load the lines
// alike. What the known force leaves is given to the fenders as far as they can
// bear it, pushing only, and the rest is Unexplained: all that acts along the
// quay, a pull off it, and a turn beyond the fenders' span. Without a known force
// a ship held against a wind off the quay is taken to lie hard on her fenders, and
// more wind to load her lines less than it will. Give the wind.
//
// A line whose load is not known takes the mean share of MBL of the known lines
// of its group, or where the group has none the length that the plan's pretension
// gives it. Loads under a line's own weight count as that weight.
func (r *Rig) Calibrate(m Measured) Calibration {
	n := len(r.laws)
	c := Calibration{UnstretchedM: make([]float64, n), TensionKN: make([]float64, n),
		Assumed: make([]bool, n), Pose: m.At}
	r.assume(&m, &c)
	// Where she lies turns the lines a little, and so what the fenders have to
	// bear: a few times settles it.
	for range 4 {
		left := m.Force.Plus(r.pull(c.Pose, c.TensionKN))
		c.Pose.SwayM, c.Pose.YawRad = m.At.SwayM, m.At.YawRad
		if sway, yaw, ok := r.lean(left, c.Pose); ok {
			c.Pose.SwayM, c.Pose.YawRad = sway, yaw
		}
	}
	for i := range c.UnstretchedM {
		c.UnstretchedM[i] = r.UnstretchedM(i, c.TensionKN[i], c.Pose)
		c.TensionKN[i] = r.TensionKN(i, c.UnstretchedM[i], c.Pose)
	}
	c.Steady = r.pull(c.Pose, c.TensionKN).Plus(r.FenderForces(c.Pose)).times(-1)
	c.Unexplained = c.Steady.Plus(m.Force.times(-1))
	return c
}

// assume takes the known loads and fills in the others.
func (r *Rig) assume(m *Measured, c *Calibration) {
	var share, count [Stern + 1]float64
	for i := range r.plan.Lines {
		l := &r.plan.Lines[i]
		if math.IsNaN(m.LoadKN[i]) {
			c.Assumed[i] = true
			continue
		}
		c.TensionKN[i] = max(m.LoadKN[i], 0)
		share[l.Group] += c.TensionKN[i] / l.MBLkN
		count[l.Group]++
	}
	for i := range r.plan.Lines {
		l := &r.plan.Lines[i]
		switch {
		case !c.Assumed[i]:
		case count[l.Group] > 0:
			c.TensionKN[i] = share[l.Group] / count[l.Group] * l.MBLkN
		default:
			c.TensionKN[i] = r.TensionKN(i, r.UnstretchedM(i, l.PretensionKN, Pose{}), m.At)
		}
	}
}

// pull is the force of lines that carry these loads, whatever their lengths.
func (r *Rig) pull(at Pose, tensionKN []float64) Force {
	t := r.turn(at)
	var sum Force
	for i := range r.laws {
		s, armX, armY := r.span(i, &t)
		fx, fy := tensionKN[i]*s.Unit.X, tensionKN[i]*s.Unit.Y
		sum = sum.Plus(Force{fx, fy, armX*fy - armY*fx})
	}
	return sum
}

// mostAside is how near to its outermost fender a push is taken to be borne, by
// its way from the middle of the fenders' span.
const mostAside = 0.9

// lean is the sway and yaw at which the fenders bear a force that presses her
// onto them; false where it does not press, or nothing is there to bear it. A turn
// beyond the fenders' span is borne only as far as mostAside.
func (r *Rig) lean(onto Force, at Pose) (swayM, yawRad float64, ok bool) {
	push := -onto.SwayKN
	if !(push > 0) || len(r.plan.Fenders) == 0 {
		return 0, 0, false
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	arm := func(i int) float64 { return r.plan.Fenders[i].XM - r.centreX - at.SurgeM }
	for i := range r.plan.Fenders {
		lo, hi = min(lo, arm(i)), max(hi, arm(i))
	}
	middle, reach := (lo+hi)/2, mostAside*(hi-lo)/2
	centre := min(max(-onto.YawKNm/push, middle-reach), middle+reach)
	// Compression a + b x at each fender in touch; those found out of touch are
	// left out until none changes.
	var a, b float64
	in := make([]bool, len(r.plan.Fenders))
	for i := range in {
		in[i] = true
	}
	for range 2 * len(in) {
		var s0, s1, s2 float64
		for i, touching := range in {
			if k, x := r.plan.Fenders[i].StiffnessKNPerM, arm(i); touching {
				s0, s1, s2 = s0+k, s1+k*x, s2+k*x*x
			}
		}
		if s0 == 0 {
			return 0, 0, false
		}
		b = 0
		if det := s0*s2 - s1*s1; det > 1e-9*s0*s2 {
			b = push * (s0*centre - s1) / det
		}
		a = (push - s1*b) / s0
		changed := false
		for i := range in {
			if touching := a+b*arm(i) > 0; touching != in[i] {
				in[i], changed = touching, true
			}
		}
		if !changed {
			break
		}
	}
	yawRad = -math.Atan(b)
	return -a - r.centreY*(1-1/math.Cos(yawRad)), yawRad, true
}
