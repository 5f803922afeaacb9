package detect

import (
	"math"

	"hawser/detect/mooring"
)

// wind is what the mast tells.
type wind struct {
	Speed, Direction float64 // newest, m/s and degrees true
	SpeedAt          int64   // time of the newest speed, 0 for never
}

const (
	gustShipLengths = 0.5 // of the ship, that a gust must pass before she feels all of it
	minGustSpeed    = 3   // m/s; in less wind than this a gust passes no more slowly
	windStale       = 10 * second
)

// blown sets the accelerations that the wind gives the ship: at once, and as it
// comes over her length.
func (b *Berth) updateWindForcing(now moment, mass *[modes]float64) {
	w, f := &b.state.Wind, &b.state.Motion.Predictor
	if w.SpeedAt == 0 || now.Time-w.SpeedAt > windStale {
		return
	}
	if f.WindForcing == [forcings][modes]float64{} {
		f.LaggedWindMS = w.Speed
	}
	late := gustShipLengths * b.plan.Ship.LoaM / max(w.Speed, minGustSpeed)
	f.LaggedWindMS += (w.Speed - f.LaggedWindMS) * min(1, stepPeriod/max(late, stepPeriod))
	set := func(p int, speed float64) {
		push := b.plan.WindForce(speed, math.Mod(w.Direction+720, 360))
		f.WindForcing[p] = acceleration(&push, mass, yawArm(&b.plan.Ship))
	}
	set(forceWind, w.Speed)
	set(forceLaggedWind, f.LaggedWindMS)
}

func acceleration(f *mooring.Force, mass *[modes]float64, arm float64) [modes]float64 {
	return [modes]float64{f.SurgeKN / mass[0], f.SwayKN / mass[1], f.YawKNm / arm / mass[2]}
}
