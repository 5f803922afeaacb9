package assess

import "hawser/detect/mooring"

// Measured is the mooring whose lines carry measured loads in these conditions,
// NaN for a line whose load is not known; what loads leave open is settled as
// mooring.Rig.Calibrate says. What loads and forces leave unbalanced, such as a
// current that was not given, is returned: with it added to the other forces, the
// ship rests with the loads as measured.
func Measured(p *mooring.Plan, loadsKN []float64, c Conditions) (*Mooring, mooring.Force) {
	rig := mooring.NewRig(p)
	now := rig.Calibrate(mooring.Measured{LoadKN: loadsKN, Force: New(p).Force(c), At: c.start()})
	m := fitted(p, rig, now.UnstretchedM, now.Pose)
	m.assumed = now.Assumed
	return m, now.Unexplained
}
