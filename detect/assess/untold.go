package assess

import "hawser/detect/mooring"

// fendersAreStiffer is how many times as stiff across the quay fenders are as the lines
// that hold a ship to them. Common practice, no source: some ten times. Where they are
// softer, more is taken for wind than blows.
const fendersAreStiffer = 10

// Untold is the push off the quay that loads speak for where nobody tells the wind. A
// wind off the quay and the fenders load lines alike, and of the two the wind is the
// one that is still there when a line is lost: what the fenders bore, they then bear
// less. As the wind gets up the fenders let go of her before the lines take much more:
//
//	fenders = 10 (pull as the plan sets the lines - pull), not under none, not over pull
//	untold  = pull - fenders
//
// with pull the lines' whole pull onto the quay. So lines a tenth looser than the plan
// sets them are taken for those of a calm; tighter than that, hove in or lifted by the
// tide as they may be and not blown on, the loss of one is told for more than it is.
// The turn goes with it.
func Untold(p *mooring.Plan, loadsKN []float64, c Conditions) mooring.Force {
	rig := mooring.NewRig(p)
	at := c.start()
	now := rig.Calibrate(mooring.Measured{LoadKN: loadsKN, At: at}).TensionKN
	set := make([]float64, len(p.Lines))
	for i := range p.Lines {
		if loadsKN[i] != 0 { // one that has parted is not in either
			set[i] = p.Lines[i].PretensionKN
		}
	}
	pull, calm := pulling(rig, at, now), pulling(rig, at, set)
	all := -pull.SwayKN
	if !(all > 0) {
		return mooring.Force{}
	}
	off := all - min(all, max(0, fendersAreStiffer*(-calm.SwayKN-all)))
	return mooring.Force{SwayKN: off, YawKNm: -pull.YawKNm * off / all}
}

// pulling is the force of lines that carry these loads, the ship lying there.
func pulling(rig *mooring.Rig, at mooring.Pose, tensionKN []float64) mooring.Force {
	lengths := make([]float64, len(tensionKN))
	for i, kN := range tensionKN {
		lengths[i] = rig.UnstretchedM(i, kN, at)
	}
	return rig.LineForces(at, lengths, make([]float64, len(tensionKN)))
}
