package simulate

import (
	"math"

	"hawser/detect/mooring"
)

// What a hull drags along and loses, common practice, no source. Sway near a
// quay moves about as much water as the ship weighs; her yaw radius is a quarter
// of her length.
const (
	addedSurge  = 0.08
	addedSway   = 0.9
	addedYaw    = 0.7
	yawRadius   = 0.25
	lineDamping = 0.12 // of critical, on her lines
	fenderLoss  = 0.15 // of critical, on her fenders
)

// ship is the hull's slow motion. Waves are laid over it at the fairleads and
// not driven through it: their inertia dwarfs the lines, which cannot stop them.
type ship struct {
	plan    *mooring.Plan
	rig     *mooring.Rig
	pose    mooring.Pose
	speed   [3]float64 // m/s, m/s, rad/s
	mass    [3]float64 // t, t, t m²
	damping [3]float64 // kN s/m, kN s/m, kNm s
	// fenderDrag resists sway and yaw while she lies on the fenders.
	fenderDrag [3]float64

	seen  mooring.Pose // where the fairleads are, waves laid on
	lines mooring.Force
}

func newShip(plan *mooring.Plan, rig *mooring.Rig, w *weather, unstretched []float64) (ship, error) {
	s := ship{plan: plan, rig: rig}
	m, loa := plan.Ship.DisplacementT, plan.Ship.LoaM
	s.mass = [3]float64{m * (1 + addedSurge), m * (1 + addedSway),
		m * (1 + addedYaw) * (yawRadius * loa) * (yawRadius * loa)}

	rest, err := rig.Equilibrium(plan.WindForce(w.feltMS, w.fromDeg), unstretched, mooring.Pose{})
	if err != nil {
		return ship{}, err
	}
	s.pose = rest.Pose
	free := *plan // without fenders, as a ship blown off lies
	free.Fenders = nil
	onLines := mooring.NewRig(&free).Stiffness(mooring.Pose{}, unstretched)
	onFenders := rig.Stiffness(mooring.Pose{SwayM: -0.01}, unstretched)
	for i := range 3 {
		s.damping[i] = 2 * lineDamping * math.Sqrt(s.mass[i]*max(0, onLines[i][i]))
		s.fenderDrag[i] = 2 * fenderLoss * math.Sqrt(s.mass[i]*max(0, onFenders[i][i]-onLines[i][i]))
	}
	return s, nil
}

// look sees where the fairleads are and how hard the lines pull.
func (s *ship) look(d *deck, w *weather) {
	s.pose.RiseFwdM, s.pose.RiseAftM = s.plan.Rise(w.levelM, w.draftFwdM, w.draftAftM)
	s.seen = s.pose
	s.seen.SurgeM += w.wave.SurgeM
	s.seen.SwayM += w.wave.SwayM
	s.seen.YawRad += w.wave.YawRad
	s.seen.RiseFwdM += w.wave.RiseFwdM
	s.seen.RiseAftM += w.wave.RiseAftM
	s.lines = s.rig.LineForces(s.seen, d.unstretched, d.tensionKN)
}

// step moves the hull by one tick, speed before place: that keeps the energy of
// an undamped spring bounded, which placing first does not.
func (s *ship) step(w *weather) {
	push := s.rig.FenderForces(s.pose)
	total := s.lines.Plus(push).Plus(s.plan.WindForce(w.feltMS, w.fromDeg)).Plus(w.pull)
	load := [3]float64{total.SurgeKN, total.SwayKN, total.YawKNm}
	for i := range 3 {
		drag := s.damping[i] * s.speed[i]
		if push.SwayKN > 0 {
			drag += s.fenderDrag[i] * s.speed[i]
		}
		s.speed[i] += (load[i] - drag) / s.mass[i] * tickS
	}
	s.pose.SurgeM += s.speed[0] * tickS
	s.pose.SwayM += s.speed[1] * tickS
	s.pose.YawRad += s.speed[2] * tickS
}
