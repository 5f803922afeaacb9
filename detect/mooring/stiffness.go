package mooring

// Stiffness is how the mooring answers a small move of the ship from this pose:
// row by column, the loss of force (surge kN, sway kN, yaw kNm) for each metre
// of surge, metre of sway and radian of yaw. It counts the stretch of the lines,
// the turning of their direction and the fenders she lies against. It is
// symmetric but for the fenders' push under yaw, which is along y and not square
// to the turned side; that is left out.
func (r *Rig) Stiffness(at Pose, unstretchedM []float64) [3][3]float64 {
	t := r.turn(at)
	var k [3][3]float64
	for i := range r.laws {
		r.addLine(&k, i, &t, unstretchedM[i])
	}
	for i := range r.plan.Fenders {
		if push, arm := r.fender(i, &t); push > 0 {
			c := r.plan.Fenders[i].StiffnessKNPerM
			k[1][1] += c
			k[1][2] += c * arm
			k[2][1] += c * arm
			k[2][2] += c * arm * arm
		}
	}
	return k
}

// addLine adds line i's share. With f the pull, u its direction, l the run and J
// the fairlead's move for each of surge, sway and yaw,
//
//	K = Jᵀ [k u uᵀ + f/l (1 - u uᵀ)] J + f u·arm in yaw
func (r *Rig) addLine(k *[3][3]float64, i int, t *turned, unstretchedM float64) {
	s, armX, armY := r.span(i, t)
	pull := r.laws[i].TensionKN(s.LengthM+r.plan.Lines[i].InboardM, unstretchedM)
	if pull == 0 || s.LengthM == 0 {
		return
	}
	stretch := r.laws[i].StiffnessKNPerM(pull, unstretchedM)
	swing := pull / s.LengthM
	// v is the loss of the run for each degree of freedom.
	v := [3]float64{s.Unit.X, s.Unit.Y, armX*s.Unit.Y - armY*s.Unit.X}
	j := [3][2]float64{{1, 0}, {0, 1}, {-armY, armX}}
	for a := range 3 {
		for b := range 3 {
			k[a][b] += (stretch-swing)*v[a]*v[b] + swing*(j[a][0]*j[b][0]+j[a][1]*j[b][1])
		}
	}
	k[2][2] += pull * (s.Unit.X*armX + s.Unit.Y*armY)
}
