package simulate

import (
	"math"

	"hawser/detect/mooring"
)

// Shares of the greatest pull across that a passing ship makes along, and of
// its moment on the length. Common practice, no source.
const (
	passAlong = 0.4
	passYaw   = 0.12
)

// passing is the pull of the ships that pass. She pushes the moored ship off as
// she comes, draws her toward the fairway abeam and pushes again as she leaves;
// along, she pulls her one way and then the other, and turns her likewise. With
// x from -1 to 1 over the passage and u = 2.5 x,
//
//	across   (1 - u²) exp(-u²/2)        along, yaw   u exp(-u²/2), made 1 at its top
//
// which is the kind of the curves that model tests and potential theory give,
// from memory, not their size.
func (w *weather) passing(now int64) (f mooring.Force) {
	left := w.passes[:0]
	for _, p := range w.passes {
		if now >= p.until {
			continue
		}
		left = append(left, p)
		u := 2.5 * (2*float64(now-p.from)/float64(p.until-p.from) - 1)
		bell := math.Exp(-u * u / 2)
		swing := u * bell * math.Exp(0.5)
		across := math.Abs(p.peak)
		f = f.Plus(mooring.Force{SurgeKN: passAlong * p.peak * swing, SwayKN: across * (1 - u*u) * bell,
			YawKNm: passYaw * p.peak * w.plan.Ship.LoaM * swing})
	}
	w.passes = left
	return f
}
