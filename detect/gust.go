package detect

import "math"

// wind keeps the wind's pressure across the ship, Pa, second by second.
type wind struct {
	Speed, Direction float64 // newest, m/s and degrees true
	SpeedAt          int64   // time of the newest speed, 0 for never
	Across           [gustKept]float64
	Seconds          int64
}

const (
	airDensity = 1.225 // kg/m³, ISO 2533 standard atmosphere, from memory
	gustKept   = 32
	gustNow    = 8  // seconds whose mean is now; a ship answers slowly
	gustBefore = 16 // seconds whose mean is before
)

// tick takes a second's step.
func (w *wind) tick(headingDeg float64) {
	v := w.Speed
	angle := (w.Direction - headingDeg) * math.Pi / 180
	w.Across[w.Seconds%gustKept] = airDensity / 2 * v * v * math.Sin(angle)
	w.Seconds++
}

// pushes are the mean pressures across the ship of the last 4 s, the 4 s before
// and the 12 s before those, Pa; 0 where not known.
func (w *wind) pushes() (late, mid, early float64) {
	if w.SpeedAt == 0 || w.Seconds < gustKept {
		return 0, 0, 0
	}
	for k := int64(1); k <= 20; k++ {
		v := w.Across[(w.Seconds-k)%gustKept]
		switch {
		case k <= 4:
			late += v / 4
		case k <= 8:
			mid += v / 4
		default:
			early += v / 12
		}
	}
	return late, mid, early
}

// gust is the change of the wind's pressure across the ship over the last
// seconds, Pa; 0 where no wind is measured.
func (w *wind) gust(now moment) float64 {
	if w.SpeedAt == 0 || now.Time-w.SpeedAt > 10*second || w.Seconds < gustKept {
		return 0
	}
	var late, early float64
	for k := int64(1); k <= gustNow+gustBefore; k++ {
		v := w.Across[(w.Seconds-k)%gustKept]
		if k <= gustNow {
			late += v / gustNow
		} else {
			early += v / gustBefore
		}
	}
	return late - early
}
