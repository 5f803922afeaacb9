package detect

import (
	"math"

	"hawser/detect/mooring"
)

// wind is the newest reading of the anemometer, and what it does to the ship.
type wind struct {
	Speed, Direction float64 // newest, m/s and degrees true
	SpeedAt          int64   // time of the newest speed, 0 for never
	LaggedMS         float64 // speed averaged over the ship's length
	// Forcing is the ship's acceleration by the wind, of those forcings that are the
	// wind's, m/s².
	Forcing [forcings][modes]float64
}

const (
	gustShipLengths = 0.5 // ship's lengths that a gust must pass before she feels all of it
	minGustSpeed    = 3   // m/s; least speed at which a gust is taken to pass
	windStale       = 10 * second
)

// told reports whether the wind is known by a reading that is not stale.
func (w *wind) told(now moment) bool { return w.SpeedAt != 0 && now.Time-w.SpeedAt <= windStale }

// updateWindForcing sets the accelerations by the wind: by the newest reading
// (forceWind) and by the wind averaged over the time that it takes to pass the ship
// (forceLaggedWind). A stale reading leaves them as they were.
func (b *Berth) updateWindForcing(now moment, mass *[modes]float64) {
	w := &b.state.Wind
	if !w.told(now) {
		return
	}
	if w.Forcing == [forcings][modes]float64{} {
		w.LaggedMS = w.Speed
	}
	lag := gustShipLengths * b.plan.Ship.LoaM / max(w.Speed, minGustSpeed)
	w.LaggedMS += (w.Speed - w.LaggedMS) * min(1, stepPeriod/max(lag, stepPeriod))
	set := func(p int, speed float64) {
		force := b.plan.WindForce(speed, math.Mod(w.Direction+720, 360))
		w.Forcing[p] = acceleration(&force, mass, yawArm(&b.plan.Ship))
	}
	set(forceWind, w.Speed)
	set(forceLaggedWind, w.LaggedMS)
}

// acceleration is force by mass in surge, sway and yaw, m/s². Yaw is taken at arm.
func acceleration(f *mooring.Force, mass *[modes]float64, arm float64) [modes]float64 {
	return [modes]float64{f.SurgeKN / mass[0], f.SwayKN / mass[1], f.YawKNm / arm / mass[2]}
}
