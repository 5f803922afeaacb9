package simulate

import (
	"math"
	"time"

	"hawser/detect/mooring"
)

// Shape of the demonstration. Loads are shares of MBL.
const (
	demoCalmMS    = 5.0
	demoMostMS    = 45.0
	demoPeakShare = 0.37 // of the hardest loaded line, ship lying still in the gust
	demoLossShare = 0.43 // the same with the slipping and the parting line gone
	demoSlipShare = 0.85 // of the slipping line's load in the gust
	demoRunM      = 0.40 // of line that a slip is to give
)

// DemoStory is under five minutes for any plan: calm, a gust off the quay that
// builds from 0:45, around 1:15 the brake of a line slips, at 2:10 its
// neighbour parts, the gust dies, the crew heaves in what slipped and replaces
// what parted. The gust is as strong as brings the hardest loaded line to 0.37
// of its MBL, or 0.43 with both lines gone, whichever comes first. A plan of
// under four lines gets the gust alone. Start is the caller's to set, and whether
// it loops.
func DemoStory(plan *mooring.Plan) Story {
	off := plan.HeadingDeg + 80 // off the quay, a little from ahead
	if plan.Side == mooring.Port {
		off = plan.HeadingDeg - 80
	}
	from := math.Mod(off+360, 360)
	s := Story{
		Seed:   1,
		Length: 285 * time.Second,
		Weather: Weather{WindMS: demoCalmMS, WindFromDeg: from, Turbulence: 0.06,
			WaveM: 0.3, WavePeriodS: 7, TideM: 2},
		Sensors: Sensors{TensionNoiseKN: 0.3, PayoutNoiseM: 0.001},
	}
	slip, part := demoLines(plan)
	gustMS, peak := demoGust(plan, from, slip, part)
	s.Events = append(s.Events, Event{At: 45 * time.Second, Kind: Gust, For: 140 * time.Second, Value: gustMS})
	if part < 0 {
		return s
	}
	a, b := &plan.Lines[slip], &plan.Lines[part]
	if render := demoSlipShare * peak[slip]; render > 0 {
		s.Events = append(s.Events, Event{At: 60 * time.Second, Kind: WeakBrake, Line: a.ID,
			For: 32 * time.Second, Value: render, HoldKN: demoHold(plan, slip, render)})
	}
	s.Events = append(s.Events,
		Event{At: 130 * time.Second, Kind: Part, Line: b.ID},
		Event{At: 205 * time.Second, Kind: Tend, Line: a.ID, Value: a.PretensionKN},
		Event{At: 220 * time.Second, Kind: Tend, Line: b.ID, Value: b.PretensionKN},
	)
	if a.MadeFast == mooring.Bitts || b.MadeFast == mooring.Bitts {
		s.Events = append(s.Events, Event{At: 200 * time.Second, Kind: StandDown, For: 70 * time.Second})
	}
	return s
}

// demoGust is the speed to add to the calm so that the hardest loaded line comes
// to its share, with the lines that are to go or without, and the loads then.
func demoGust(plan *mooring.Plan, fromDeg float64, slip, part int) (gustMS float64, peak []float64) {
	rig := mooring.NewRig(plan)
	whole, spoilt := rig.Pretensioned(), rig.Pretensioned()
	if part >= 0 {
		spoilt[slip], spoilt[part] = math.Inf(1), math.Inf(1)
	}
	peak = make([]float64, len(plan.Lines))
	if calm, err := rig.Equilibrium(plan.WindForce(demoCalmMS, fromDeg), whole, mooring.Pose{}); err == nil {
		copy(peak, calm.TensionKN)
	}
	lo, hi := demoCalmMS, demoMostMS
	for range 30 {
		speed := (lo + hi) / 2
		wind := plan.WindForce(speed, fromDeg)
		a, errA := rig.Equilibrium(wind, whole, mooring.Pose{})
		b, errB := rig.Equilibrium(wind, spoilt, mooring.Pose{})
		if errA != nil || errB != nil || mostShare(plan, a.TensionKN) > demoPeakShare ||
			mostShare(plan, b.TensionKN) > demoLossShare {
			hi = speed
			continue
		}
		lo = speed
		copy(peak, a.TensionKN)
	}
	return lo - demoCalmMS, peak
}

func mostShare(plan *mooring.Plan, tensionKN []float64) (most float64) {
	for i, t := range tensionKN {
		most = max(most, t/plan.Lines[i].MBLkN)
	}
	return most
}

// demoLines picks two instrumented lines of one group, winches before bitts,
// breasts before the ends: the first to slip, the second to part. part is -1
// where the plan has no such pair or no lines to spare.
func demoLines(plan *mooring.Plan) (slip, part int) {
	if len(plan.Lines) < 4 {
		return -1, -1
	}
	groups := []mooring.Group{mooring.FwdBreast, mooring.AftBreast, mooring.Head, mooring.Stern}
	for _, fast := range []mooring.MadeFast{mooring.Winch, mooring.Bitts} {
		for _, g := range groups {
			slip = -1
			for i := range plan.Lines {
				l := &plan.Lines[i]
				if l.Group != g || l.MadeFast != fast || !l.Instrumented {
					continue
				}
				if slip < 0 {
					slip = i
					continue
				}
				return slip, i
			}
		}
	}
	return -1, -1
}

// demoHold is the load at which a drum that renders has run out demoRunM, were
// the ship to stand still meanwhile; not under a quarter of what it renders at.
func demoHold(plan *mooring.Plan, i int, renderKN float64) float64 {
	rig := mooring.NewRig(plan)
	from := rig.UnstretchedM(i, renderKN, mooring.Pose{})
	hold := renderKN
	for hold > renderKN/4 && rig.UnstretchedM(i, hold, mooring.Pose{})-from < demoRunM {
		hold -= renderKN / 100
	}
	return hold
}
