// Package assess answers what people ask of a mooring: what if a line is lost,
// how much wind can she take, what will the tide do, which winch to work. Every
// answer is an equilibrium of detect/mooring, or many. It is pure: no clock, no
// I/O, no state between questions. Its invariant: an answer that rests on an
// equilibrium that was not found says so and carries no plausible number.
//
// The answers are estimates from the plan's figures. Loads are static: the rush
// of the ship after a line parts, waves and passing ships come on top.
package assess

import (
	"math"

	"hawser/detect/mooring"
)

// Mooring is a ship at her berth with her lines as they are set. It is read-only
// and safe for concurrent use.
type Mooring struct {
	plan    *mooring.Plan
	rig     *mooring.Rig
	lengths []float64    // unstretched, drum or bitts to hook, metres
	setAt   mooring.Pose // where the ship lay when the lengths were found
	bounds  []bounds
	assumed []bool // by line, where loads were measured: its own was not; else nil
	slipped []int  // lines told to have slipped
	alone   []int  // lines that no advice works
}

// bounds are a line's limits, kN.
type bounds struct {
	working  float64
	render   float64 // +Inf where no brake would give
	breaking float64 // of the weaker of main and tail
}

// New is a mooring whose lines carry their pretension with the ship at the
// plan's reference.
func New(p *mooring.Plan) *Mooring {
	rig := mooring.NewRig(p)
	return fitted(p, rig, rig.Pretensioned(), mooring.Pose{})
}

func fitted(p *mooring.Plan, rig *mooring.Rig, lengths []float64, at mooring.Pose) *Mooring {
	m := &Mooring{plan: p, rig: rig, lengths: lengths, setAt: at, bounds: make([]bounds, len(p.Lines))}
	for i := range p.Lines {
		l := &p.Lines[i]
		b := bounds{working: p.WorkingLoadKN(i), render: math.Inf(1), breaking: l.MBLkN}
		if l.MadeFast == mooring.Winch && l.BrakeRenderKN > 0 {
			b.render = l.BrakeRenderKN
		}
		if l.Tail != nil {
			b.breaking = min(b.breaking, l.Tail.MBLkN)
		}
		m.bounds[i] = b
	}
	return m
}

// Part takes away lines that have parted: they hold nothing from now on.
func (m *Mooring) Part(lines ...int) {
	for _, i := range lines {
		m.lengths[i] = math.Inf(1)
	}
}

// Slipped says of which lines the brake or the turns on bitts gave way: no line of their
// groups is then eased to be even with them.
func (m *Mooring) Slipped(lines ...int) { m.slipped = lines }

// LeaveAlone says which lines no advice works: nobody knows whether they hold, or what
// they would be worked to.
func (m *Mooring) LeaveAlone(lines ...int) { m.alone = lines }

// Plan is the plan the mooring was made from.
func (m *Mooring) Plan() *mooring.Plan { return m.plan }

// Conditions are what acts on the ship.
type Conditions struct {
	WindMS, WindFromDeg      float64 // steady, at 10 m; degrees true
	CurrentMS, CurrentSetDeg float64 // steady; the direction it sets toward
	// DraftM and DepthM are as in mooring.Environment, 0 for not known.
	DraftM, DepthM float64
	// Other is every steady force but wind and current.
	Other mooring.Force
	// Untold stands for the wind where nobody tells it; see the function of that name.
	Untold mooring.Force
	// RiseFwdM and RiseAftM are the height of the ship's ends above the plan's
	// reference (see mooring.Plan.Rise).
	RiseFwdM, RiseAftM float64
}

// Force is the whole force on the ship.
func (m *Mooring) Force(c Conditions) mooring.Force {
	e := m.environment(&c)
	return m.butWind(&c).Plus(e.Wind(c.WindMS, c.WindFromDeg)).Plus(c.Untold)
}

// butWind is the force of all but the wind.
func (m *Mooring) butWind(c *Conditions) mooring.Force {
	e := m.environment(c)
	return c.Other.Plus(e.Current(c.CurrentMS, c.CurrentSetDeg))
}

func (m *Mooring) environment(c *Conditions) mooring.Environment {
	return mooring.Environment{Plan: m.plan, DraftM: c.DraftM, DepthM: c.DepthM}
}

func (c *Conditions) start() mooring.Pose {
	return mooring.Pose{RiseFwdM: c.RiseFwdM, RiseAftM: c.RiseAftM}
}

// State is the ship lying still.
type State struct {
	Pose      mooring.Pose
	TensionKN []float64 // by line
	FenderKN  []float64 // by fender
}

// Share is line i's load as a fraction of its ship design MBL.
func (m *Mooring) Share(s *State, i int) float64 { return s.TensionKN[i] / m.plan.Lines[i].MBLkN }

// Worst is the line with the largest share of its MBL.
func (m *Mooring) Worst(s *State) int {
	worst := 0
	for i := range s.TensionKN {
		if m.Share(s, i) > m.Share(s, worst) {
			worst = i
		}
	}
	return worst
}

// Stored is what line i holds ready to let go if it parted. It says nothing of
// where a line flies.
func (m *Mooring) Stored(s *State, i int) mooring.Stored {
	return m.rig.Law(i).Stored(s.TensionKN[i], m.lengths[i])
}

// Steady is where the ship lies still with every line holding, whatever its
// load: no brake renders and no line breaks. The error is
// mooring.ErrNoEquilibrium.
func (m *Mooring) Steady(c Conditions) (State, error) {
	return m.rest().still(m.Force(c), m.lengths, c.start())
}

// Holds is the share of the force, all its parts alike, that the mooring can hold
// with every line holding, and that force: less than 1 where it has no
// equilibrium.
func (m *Mooring) Holds(c Conditions) (share float64, force mooring.Force) {
	f := m.Force(c)
	share, _ = m.rest().solver.Holds(f, m.lengths, c.start())
	return share, mooring.Force{SurgeKN: share * f.SurgeKN, SwayKN: share * f.SwayKN, YawKNm: share * f.YawKNm}
}
