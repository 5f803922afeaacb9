package mooring

// touch is how one fender stands to the ship's side.
type touch struct {
	// gapM is the way along y from fender face to side, negative where she lies
	// against it.
	gapM float64
	// way is how the gap grows for each metre of surge, metre of sway and radian
	// of yaw; bend is the growth of way's yaw with yaw, and turn that of its surge
	// with yaw.
	way        [3]float64
	bend, turn float64
}

// touch reckons fender i. The side is the straight line through (0, -centreY) in
// the ship, turned by yaw.
func (r *Rig) touch(i int, t *turned) touch {
	arm := r.plan.Fenders[i].XM - r.centreX - t.SurgeM
	lean := arm - r.centreY*t.sin
	c2 := t.cos * t.cos
	return touch{
		gapM: r.centreY + t.SwayM + (arm*t.sin-r.centreY)/t.cos,
		way:  [3]float64{-t.sin / t.cos, 1, lean / c2},
		bend: (2*lean*t.sin - r.centreY*c2) / (c2 * t.cos),
		turn: -1 / c2,
	}
}

// addFender adds to sum and, where k is not nil, to the stiffness what a fender
// does that pushes with pushKN along y. It has no friction: its force is square
// to the ship's side, and so the slope of its energy.
func addFender(sum *Force, k *[3][3]float64, f *touch, pushKN, stiffness float64) {
	sum.SurgeKN += pushKN * f.way[0]
	sum.SwayKN += pushKN * f.way[1]
	sum.YawKNm += pushKN * f.way[2]
	if k == nil {
		return
	}
	for a := range 3 {
		for b := range 3 {
			k[a][b] += stiffness * f.way[a] * f.way[b]
		}
	}
	k[0][2] -= pushKN * f.turn
	k[2][0] -= pushKN * f.turn
	k[2][2] -= pushKN * f.bend
}
