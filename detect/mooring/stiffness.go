package mooring

// Stiffness is how the mooring answers a small move of the ship from this pose:
// row by column, the loss of force (surge kN, sway kN, yaw kNm) for each metre
// of surge, metre of sway and radian of yaw. It counts the stretch of the lines,
// the turning of their direction and the fenders she lies against, and is
// symmetric.
func (r *Rig) Stiffness(at Pose, unstretchedM []float64) [3][3]float64 {
	var k [3][3]float64
	t := r.turn(at)
	r.loads(&t, unstretchedM, nil, nil, nil, &k)
	return k
}

// addLine adds a line's share. With f the pull, u its direction, l the run and J
// the fairlead's move for each of surge, sway and yaw,
//
//	K = Jᵀ [k u uᵀ + f/l (1 - u uᵀ)] J + f u·arm in yaw
func addLine(k *[3][3]float64, s *Span, armX, armY, pull, stretch float64) {
	if pull == 0 || s.LengthM == 0 {
		return
	}
	swing := pull / s.LengthM
	along := stretch - swing
	// v is the loss of the run for each degree of freedom.
	v := [3]float64{s.Unit.X, s.Unit.Y, armX*s.Unit.Y - armY*s.Unit.X}
	for a := range 3 {
		for b := range 3 {
			k[a][b] += along * v[a] * v[b]
		}
	}
	k[0][0] += swing
	k[1][1] += swing
	k[0][2] -= swing * armY
	k[2][0] -= swing * armY
	k[1][2] += swing * armX
	k[2][1] += swing * armX
	k[2][2] += swing*(armX*armX+armY*armY) + pull*(s.Unit.X*armX+s.Unit.Y*armY)
}
