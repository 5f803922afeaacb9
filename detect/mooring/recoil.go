package mooring

import "math"

// Stored is what a line under load would let go if it parted: a hazard to be
// told of. It says nothing of where a line flies, and no place on a mooring deck
// becomes safe by it.
type Stored struct {
	MainKJ, TailKJ float64 // stretching energy; the main's with the part inboard
	MainKG, TailKG float64 // mass, the same lengths
}

// Stored is the energy in the line at a load, all of its unstretched length from
// drum or bitts to hook, as slowly stretched: the area under the load-elongation
// curve. Masses are 0 where the plan has no diameter.
func (l *Law) Stored(tensionKN, unstretchedM float64) Stored {
	if math.IsInf(unstretchedM, 1) {
		return Stored{}
	}
	mainM, tailM := l.parts(unstretchedM)
	s := Stored{MainKJ: mainM * l.main.energy(tensionKN), MainKG: mainM * l.main.kgPerM}
	if tailM > 0 {
		s.TailKJ, s.TailKG = tailM*l.tail.energy(tensionKN), tailM*l.tail.kgPerM
	}
	return s
}

// EnergyKJ is the whole energy.
func (s Stored) EnergyKJ() float64 { return s.MainKJ + s.TailKJ }

// RecoilMS is an upper bound of the speed, m/s, at which a part of the line
// recoils when it parts: all the energy of the whole line goes into the motion
// of its main or its tail alone, whichever is lighter, and none into heat, air,
// the whipping of an end or the rest of the line. It bounds the speed of that
// part as a whole; the free end of a whipping line can be faster still. False
// where the masses are not known.
func (s Stored) RecoilMS() (float64, bool) {
	mass := s.MainKG
	if s.TailKJ > 0 && (s.MainKJ == 0 || s.TailKG < mass) {
		mass = s.TailKG
	}
	if !(mass > 0) {
		return 0, false
	}
	return math.Sqrt(2e3 * s.EnergyKJ() / mass), true
}
