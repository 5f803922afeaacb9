package detect

import "math"

// Swerves tells the ship's place half a second ahead from all that is known to
// push her, and keeps what she then does otherwise. In each mode (surge, sway,
// yaw) a steady filter follows her place by Newton's second law,
//
//	acceleration = Σ weight · known push + what it has been of late otherwise
//
// with lines and wind for pushes, her distance from her usual place and her speed
// for what holds and slows her. The filter is linear, so how much each push is
// worth is learnt by least squares from its own answer to that push. What is left
// echoes: waves come again, pins err alike for a while. So it is told once more,
// from what was left in the last six seconds; what then remains, her swerve, is as
// good as independent from one look to the next, and a few minutes tell how large
// and how alike swerves usually are.
//
// A pull that is lost from one moment to the next makes swerves in a known pattern,
// the filter's answer to a step, in proportion to the pull: see redistribution.
// Wind comes over the ship in many seconds, and is known of or makes another
// pattern. Metres, seconds. Source: Newton's second law, innovations and whitening
// as in any textbook of estimation; the figures are common practice, no source.
// Exported for the snapshot's encoder only.
type Swerves struct {
	Modes   [modes]heading
	Kept    [looksKept][modes]float64 // m
	Cov     [modes][modes]float64     // m², lower half
	Lessons float64
	Rough   [roughKept]float64 // sizes of the last swerves by what is usual, 1 where as usual
}

// heading is one mode.
type heading struct {
	Place  follower
	By     [swayers]follower // what the filter would answer to each push alone
	Worth  [swayers]float64
	Unsure [swayers * swayers]float64

	Left       [echoes]float64 // of the last looks, newest first
	LeftBy     [echoes][swayers]float64
	Echo       [echoes]float64
	EchoUnsure [echoes * echoes]float64

	Var   float64 // of swerves, m²
	Looks float64
}

// What sways a mode: the lines' push on it and on the others, the wind, her place
// in all modes, her speed.
const (
	swayLines    = 0
	swayLateWind = modes
	swayWind     = modes + 1
	swayPlace    = modes + 2
	swaySpeed    = 2*modes + 2
	swayers      = 2*modes + 3
)

const (
	echoes      = 12
	swerveTau   = 6    // s; time constant of the filter
	swerveFar   = 25   // looks that a step is looked for
	swerveFades = 600  // looks over which sizes are taken, five minutes
	swerveOld   = 3e5  // looks after which what no lesson has borne out is worth nothing, two days
	swerveStart = 20   // looks before lessons
	swerveWild  = 4    // standard deviations, the most that a lesson is worth
	swerveLeast = 3e-4 // m; no swerve is known better
)

// doubts are how far the worth of each push may be from what is thought at first.
// Place counts by 0.01/s², speed by 0.1/s.
const (
	doubtOwn   = 0.3
	doubtCross = 0.1
	doubtWind  = 0.5
	doubtPlace = 0.3
	doubtSpeed = 0.5
	doubtEcho  = 0.3
)

// follower follows a place with its speed and acceleration.
type follower struct{ Place, Speed, Force float64 }

// step takes a place and the acceleration known of, and gives how far off the
// place was told. Three like poles, time constant swerveTau.
func (t *follower) step(place, push float64) (off float64) {
	const th = 0.9200444146293233 // exp(-lookTime/swerveTau)
	const (
		k1 = 1 - th*th*th
		k2 = 1.5 * (1 - th) * (1 - th) * (1 + th) / lookTime
		k3 = (1 - th) * (1 - th) * (1 - th) / (lookTime * lookTime)
	)
	a := push + t.Force
	t.Place += t.Speed*lookTime + a*lookTime*lookTime/2
	t.Speed += a * lookTime
	off = place - t.Place
	t.Place, t.Speed, t.Force = t.Place+k1*off, t.Speed+k2*off, t.Force+k3*off
	return off
}

// stepAnswer is how far off the filter is in the looks after a push of 1 m/s²
// that begins at once and lasts.
func stepAnswer() (g [swerveFar]float64) {
	var t follower
	var place, speed float64
	for k := range g {
		place += speed*lookTime + lookTime*lookTime/2
		speed += lookTime
		g[k] = t.step(place, 0)
	}
	return g
}

// swerve takes a look, by its number since her place was last not known.
func (s *Swerves) swerve(at *beheld, usual *[modes]float64, look int64) {
	for m := range modes {
		h := &s.Modes[m]
		if look == 0 {
			h.begin(m, at.Place[m])
		}
		s.Kept[look%looksKept][m] = h.look(m, at, usual)
	}
	if look >= swerveStart+swerveFar {
		s.weighUp(look)
	}
}

// begin begins with the ship at rest in this place; what was learnt still holds.
func (h *heading) begin(m int, place float64) {
	h.Place, h.By, h.Looks = follower{Place: place}, [swayers]follower{}, 0
	h.Left, h.LeftBy = [echoes]float64{}, [echoes][swayers]float64{}
	if h.Var != 0 {
		return
	}
	h.Var = 1e-5
	h.Worth = [swayers]float64{swayLateWind: 0.5, swayWind: 0.5}
	h.Worth[swayLines+m] = 1
	for k := range swayers {
		d := doubtOf(m, k)
		h.Unsure[k*swayers+k] = d * d
	}
	for k := range echoes {
		h.EchoUnsure[k*echoes+k] = doubtEcho * doubtEcho
	}
}

func doubtOf(m, k int) float64 {
	switch {
	case k == m:
		return doubtOwn
	case k < modes:
		return doubtCross
	case k < swayPlace:
		return doubtWind
	case k < swaySpeed:
		return doubtPlace
	default:
		return doubtSpeed
	}
}

// look is the swerve of this look.
func (h *heading) look(m int, at *beheld, usual *[modes]float64) (off float64) {
	push := [swayers]float64{swayLateWind: at.Push[ofLateWind][m], swayWind: at.Push[ofWind][m], swaySpeed: -0.1 * h.Place.Speed}
	for k := range modes {
		push[swayLines+k] = at.Push[ofLines][k]
		push[swayPlace+k] = -0.01 * (at.Place[k] - usual[k])
	}
	left := h.Place.step(at.Place[m], 0)
	var by [swayers]float64
	for k := range by {
		by[k] = -h.By[k].step(0, push[k])
		left -= h.Worth[k] * by[k]
	}
	off = left
	for k, w := range h.Echo {
		off -= w * h.Left[k]
	}
	h.Looks++
	if h.Looks > swerveStart {
		h.learn(m, off, by)
	}
	copy(h.Left[1:], h.Left[:])
	copy(h.LeftBy[1:], h.LeftBy[:])
	h.Left[0], h.LeftBy[0] = left, by
	return off
}

// learn takes the lesson of a swerve: first of the echoes, then of what the pushes,
// told with their echoes, are worth.
func (h *heading) learn(m int, off float64, by [swayers]float64) {
	n := h.Looks - swerveStart
	if n > 100 {
		most := swerveWild * math.Sqrt(h.Var)
		off = max(-most, min(off, most))
	}
	noise := math.Sqrt(h.Var) + swerveLeast
	var scratch [max(echoes, swayers)]float64
	lesson(h.Echo[:], h.EchoUnsure[:], h.Left[:], scratch[:echoes], off, noise)
	for e, w := range h.Echo {
		for k := range by {
			by[k] -= w * h.LeftBy[e][k]
		}
	}
	lesson(h.Worth[:], h.Unsure[:], by[:], scratch[:swayers], off, noise)
	for k := range swayers {
		d := doubtOf(m, k)
		h.Unsure[k*swayers+k] = min(h.Unsure[k*swayers+k]+d*d/swerveOld, d*d)
	}
	for k := range echoes {
		h.EchoUnsure[k*echoes+k] = min(h.EchoUnsure[k*echoes+k]+doubtEcho*doubtEcho/swerveOld, doubtEcho*doubtEcho)
	}
	h.Var += (off*off - h.Var) / min(n, swerveFades)
}

// lesson is one of recursive least squares: with these x the sum was short by off,
// known to noise. p is the covariance of w, row by row.
func lesson(w, p, x, px []float64, off, noise float64) {
	n := len(w)
	scale := noise * noise
	for i := range n {
		row := p[i*n : i*n+n]
		px[i] = 0
		for j, v := range x {
			px[i] += row[j] * v
		}
		scale += px[i] * x[i]
	}
	for i := range n {
		gain := px[i] / scale
		w[i] += gain * off
		row := p[i*n : i*n+n]
		for j := range row {
			row[j] -= gain * px[j]
		}
	}
}
