package archive

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"hawser/detect/mooring"
	"hawser/detect/tide"
)

const (
	look       = 10 * time.Second // between two equilibria
	round      = 20 * time.Minute // of the crew along the lines
	worked     = 90 * time.Second // to heave or pay out one line
	slackShare = 0.04
	tightShare = 0.3
	brakeCatch = 0.92 // of its setting, at which a brake holds again
	passKN     = 0.0035
)

// rope is one line as it lies.
type rope struct {
	paidM, zeroM float64 // unstretched, and where the counter stands at 0
	wasM         float64 // when the crew began
	aimM         float64 // what they work to
	begun, ends  int64   // looks at which they begin and end; ends 0 for nobody
	gone         bool
	worked       bool    // at the look before
	onboard      float64 // 0 not made fast yet, 1 made fast
}

// ship is the moored ship, at rest anew at each look.
type ship struct {
	stay   *Stay
	rig    *mooring.Rig
	solver *mooring.Solver
	tide   *tide.Curve
	gusts  gusts
	rng    *rand.Rand

	ropes       []rope
	unstretched []float64
	pose        mooring.Pose
	now         int64 // looks since the arrival
	next        int   // in happenings
	passes      []happening

	state, before moment
}

// moment is what there is to read at a look.
type moment struct {
	tensionKN, payoutM, brake    []float64
	speedMS, fromDeg             float64
	levelM, draftFwdM, draftAftM float64
}

func (m *moment) copyFrom(o *moment) {
	t, p, b := append(m.tensionKN[:0], o.tensionKN...), append(m.payoutM[:0], o.payoutM...), append(m.brake[:0], o.brake...)
	*m = *o
	m.tensionKN, m.payoutM, m.brake = t, p, b
}

func newShip(s *Stay) (*ship, error) {
	h := &ship{stay: s, rig: mooring.NewRig(s.Plan), rng: rand.New(rand.NewPCG(s.seed, 21))}
	h.gusts.rng = rand.New(rand.NewPCG(s.seed, 22))
	h.solver = mooring.NewSolver(h.rig)
	var err error
	if h.tide, err = tide.New(s.Plan.Tide); err != nil {
		return nil, err
	}
	n := len(s.Plan.Lines)
	h.ropes = make([]rope, n)
	h.unstretched = make([]float64, n)
	h.state = moment{tensionKN: make([]float64, n), payoutM: make([]float64, n), brake: make([]float64, n)}
	h.surroundings()
	for i := range h.ropes {
		h.ropes[i].paidM = h.rig.UnstretchedM(i, s.Plan.Lines[i].PretensionKN, h.pose)
		h.ropes[i].zeroM = h.ropes[i].paidM
	}
	return h, nil
}

func (h *ship) time() time.Time { return h.stay.Arrival.Add(time.Duration(h.now) * look) }

// surroundings are tide, drafts and wind at the present look.
func (h *ship) surroundings() {
	s, at := h.stay, h.time()
	h.state.levelM, _ = h.tide.At(at)
	// Cargo is worked from an hour after she is fast until two before she goes,
	// with a pause in the middle.
	from, to := s.MadeFast.Add(time.Hour), s.LetGo.Add(-2*time.Hour)
	done := min(1, max(0, at.Sub(from).Seconds()/max(1, to.Sub(from).Seconds())))
	switch {
	case done < 0.4:
		done *= 1.25
	case done < 0.6:
		done = 0.5
	default:
		done = 0.5 + (done-0.6)*1.25
	}
	ref := s.Plan.Reference
	h.state.draftFwdM = ref.DraftFwdM + s.berth.cargo*(done-0.5)*1.05
	h.state.draftAftM = ref.DraftAftM + s.berth.cargo*(done-0.5)*0.95
	mean, from0 := s.weather.mean(at.Sub(s.options.Start).Hours())
	h.state.speedMS, h.state.fromDeg = h.gusts.on(mean*s.berth.exposed, from0)
	h.pose.RiseFwdM, h.pose.RiseAftM = s.Plan.Rise(h.state.levelM, h.state.draftFwdM, h.state.draftAftM)
}

// step goes on to the next look.
func (h *ship) step() error {
	h.before.copyFrom(&h.state)
	h.now++
	h.gusts.step(look)
	h.surroundings()
	h.happen()
	h.crew()
	h.mooringUp()
	if err := h.rest(); err != nil {
		return fmt.Errorf("%s at %s, %s: wind %.1f m/s from %03.0f: %w", h.stay.Plan.Ship.Name, h.stay.Plan.Berth,
			h.time().Format(time.RFC3339), h.state.speedMS, h.state.fromDeg, err)
	}
	return nil
}

// rest finds the ship's place and lets brakes render that do.
func (h *ship) rest() error {
	plan := h.stay.Plan
	env := mooring.Environment{Plan: plan, DraftM: (h.state.draftFwdM + h.state.draftAftM) / 2}
	force := env.Wind(h.state.speedMS, h.state.fromDeg).Plus(h.passing())
	for range 4 {
		for i := range h.ropes {
			if h.unstretched[i] = h.ropes[i].paidM; h.ropes[i].gone {
				h.unstretched[i] = math.Inf(1)
			}
		}
		e, err := h.solver.Solve(force, h.unstretched, h.pose)
		if err != nil {
			return err
		}
		h.pose = e.Pose
		rendered := false
		for i := range h.ropes {
			r, l := &h.ropes[i], &plan.Lines[i]
			h.state.tensionKN[i] = e.TensionKN[i] * r.onboard
			if l.BrakeRenderKN > 0 && e.TensionKN[i] > l.BrakeRenderKN && !r.gone {
				r.paidM = max(r.paidM, h.rig.UnstretchedM(i, brakeCatch*l.BrakeRenderKN, h.pose))
				rendered = true
			}
		}
		if !rendered {
			break
		}
	}
	for i := range h.ropes {
		h.state.payoutM[i] = h.ropes[i].paidM - h.ropes[i].zeroM
	}
	return nil
}

// passing is the pull of the ships that pass: off, toward her, off again, by a
// share of her displacement; the kind of package simulate's, its size by common
// practice, no source.
func (h *ship) passing() (f mooring.Force) {
	plan := h.stay.Plan
	for _, p := range h.passes {
		u := 2.5 * (2*h.time().Sub(p.at).Seconds()/p.last.Seconds() - 1)
		if math.Abs(u) > 2.5 {
			continue
		}
		bell := math.Exp(-u * u / 2)
		most := p.size * passKN * plan.Ship.DisplacementT
		f = f.Plus(mooring.Force{SurgeKN: 0.5 * most * u * bell, SwayKN: most * (1 - u*u) * bell, YawKNm: 0.1 * most * plan.Ship.LoaM * u * bell})
	}
	return f
}

// happen begins what is due on deck.
func (h *ship) happen() {
	for h.next < len(h.stay.happenings) && !h.stay.happenings[h.next].at.After(h.time()) {
		e := h.stay.happenings[h.next]
		h.next++
		switch e.kind {
		case slip:
			h.ropes[h.most(false)].paidM += e.size
		case part:
			i := h.most(true)
			h.ropes[i].gone = true
			h.before.tensionKN[i] = 0 // at once, not from look to look
		case replaced:
			for i := range h.ropes {
				if r := &h.ropes[i]; r.gone {
					r.gone, r.onboard = false, 0
					aim := h.rig.UnstretchedM(i, h.stay.Plan.Lines[i].PretensionKN, h.pose)
					r.zeroM = aim
					h.work(i, 1.02*aim, aim, 3*worked)
				}
			}
		case pass:
			h.passes = append(h.passes, e)
		}
	}
}

// most is the line with the most load by its MBL, of those with a load pin.
func (h *ship) most(onWinch bool) (most int) {
	share := -1.0
	for i := range h.ropes {
		l := &h.stay.Plan.Lines[i]
		if v := h.state.tensionKN[i] / l.MBLkN; v > share && l.Instrumented && h.ropes[i].ends == 0 && (!onWinch || l.MadeFast == mooring.Winch) {
			most, share = i, v
		}
	}
	return most
}

func (h *ship) work(i int, from, to float64, long time.Duration) {
	r := &h.ropes[i]
	r.wasM, r.aimM, r.begun, r.ends = from, to, h.now, h.now+int64(long/look)
}

// crew goes along the lines, and works what is slack, or tight in a wind in which a
// loaded line can be worked.
func (h *ship) crew() {
	plan := h.stay.Plan
	for i := range h.ropes {
		r := &h.ropes[i]
		if r.ends == 0 {
			continue
		}
		x := float64(h.now-r.begun) / float64(r.ends-r.begun)
		r.paidM = r.wasM + x*(r.aimM-r.wasM)
		if r.onboard < 1 {
			r.onboard = x
		}
		if h.now >= r.ends {
			r.ends, r.onboard = 0, 1
		}
	}
	if h.time().Before(h.stay.MadeFast) || !h.time().Before(h.stay.LetGo) || h.now%int64(round/look) != 0 {
		return
	}
	for i := range h.ropes {
		l := &plan.Lines[i]
		v := h.state.tensionKN[i] / l.MBLkN
		slack, tight := v < slackShare, v > tightShare
		if h.ropes[i].gone || h.ropes[i].ends > 0 || !slack && !tight || tight && h.state.speedMS > sailMS {
			continue
		}
		h.work(i, h.ropes[i].paidM, h.rig.UnstretchedM(i, l.PretensionKN, h.pose), worked)
	}
}

// mooringUp puts the lines out one after another on arrival, springs first, and
// takes them in at the end the other way round.
func (h *ship) mooringUp() {
	n := len(h.ropes)
	in := h.time().Sub(h.stay.Arrival).Seconds() / makingFast.Seconds()
	out := h.stay.Departure.Sub(h.time()).Seconds() / singlingUp.Seconds()
	if in > 1.1 && out > 1.1 {
		return
	}
	place := 0
	for _, springs := range []bool{true, false} {
		for i := range h.ropes {
			g := h.stay.Plan.Lines[i].Group
			if (g == mooring.FwdSpring || g == mooring.AftSpring) != springs {
				continue
			}
			at := float64(place) / float64(n+1)
			place++
			h.ropes[i].onboard = min(1, max(0, (min(in, out)-at)*float64(n)))
		}
	}
}

// brakes are set but for lines that are worked, or were at the look before: until
// then their drums turn.
func (h *ship) brakes() {
	for i := range h.ropes {
		r := &h.ropes[i]
		worked := r.ends > 0 || r.onboard > 0 && r.onboard < 1
		h.state.brake[i] = 1
		if worked || r.worked {
			h.state.brake[i] = 0
		}
		r.worked = worked
	}
}
