package assess

import (
	"math"

	"hawser/detect/mooring"
)

// adriftM is how far off her place a ship whose brakes render is adrift: gangway
// and loading arms are gone long before. Common practice, no source.
const adriftM = 10.0

// windSearch looks for limits along the wind's speed from one direction. Forces
// go with its pressure, and loads nearly so: the search steps and interpolates in
// the square of the speed.
type windSearch struct {
	*rest
	other mooring.Force
	unit  mooring.Force // of a wind of 1 m/s
}

// blown is the ship at rest in a wind; lost where she has no rest.
type blown struct {
	q float64 // square of the speed
	State
	lost bool
}

func (w *windSearch) force(q float64) mooring.Force {
	return w.other.Plus(mooring.Force{SurgeKN: q * w.unit.SurgeKN, SwayKN: q * w.unit.SwayKN, YawKNm: q * w.unit.YawKNm})
}

// at is the ship at rest with every line holding.
func (w *windSearch) at(q float64, from mooring.Pose) *blown {
	s, err := w.still(w.force(q), w.m.lengths, from)
	return &blown{q, s, err != nil}
}

// pose is where to look for the ship in another wind: by a straight line through
// two, or as in the one where the other is lost or the same.
func (b *blown) pose(other *blown, q float64) mooring.Pose {
	p := b.Pose
	if other == nil || other.lost || other.q == b.q {
		return p
	}
	by := (q - b.q) / (other.q - b.q)
	p.SurgeM += by * (other.Pose.SurgeM - p.SurgeM)
	p.SwayM += by * (other.Pose.SwayM - p.SwayM)
	p.YawRad += by * (other.Pose.YawRad - p.YawRad)
	return p
}

// most is the load of the line nearest a limit, as a share of that limit, and
// which line it is. Without rest it is beyond all limits.
func (w *windSearch) most(b *blown, limit func(int) float64) (share float64, line int) {
	if b.lost {
		return math.Inf(1), -1
	}
	for i, t := range b.TensionKN {
		if x := t / limit(i); x > share {
			share, line = x, i
		}
	}
	return share, line
}

func (w *windSearch) limits(from float64, calm *blown) WindLimit {
	bounds := w.m.bounds
	never := Threshold{math.Inf(1), -1}
	out := WindLimit{FromDeg: from, Brake: never, Fails: never}
	gives := func(i int) float64 { return min(bounds[i].render, bounds[i].breaking) }
	var below *blown
	out.Working, below = w.reach(calm, func(i int) float64 { return bounds[i].working })
	if share, _ := w.most(below, gives); share >= 1 { // a brake set under the working load limit
		below = calm
	}
	first, below := w.reach(below, gives)
	switch {
	case first.Line < 0: // nothing gives, or the ship has no rest
		out.Fails = first
	case bounds[first.Line].render < bounds[first.Line].breaking:
		out.Brake = first
		out.Fails = w.carriedOff(first.SpeedMS, below)
	default:
		out.Fails = first
		out.Brake, _ = w.reach(below, func(i int) float64 { return bounds[i].render })
	}
	return out
}

// reach finds the wind at which the first line comes to its limit, going up from
// a wind in which the ship lies, and the last wind found that is below it.
func (w *windSearch) reach(low *blown, limit func(int) float64) (Threshold, *blown) {
	share, line := w.most(low, limit)
	if share >= 1 {
		return Threshold{math.Sqrt(low.q), line}, low
	}
	const ceiling = CeilingMS * CeilingMS
	var high, before *blown
	var highShare float64
	for ahead := w.leap(low, nil, share, 0); high == nil; {
		if low.q >= ceiling {
			return Threshold{math.Inf(1), -1}, low
		}
		ahead = min(ahead, ceiling)
		next := w.at(ahead, low.pose(before, ahead))
		nextShare, nextLine := w.most(next, limit)
		if nextShare >= 1 {
			high, highShare, line = next, nextShare, nextLine
			break
		}
		ahead = w.leap(next, low, nextShare, share)
		before, low, share = low, next, nextShare
	}
	return w.between(low, high, share, highShare, line, limit)
}

// leap is where to look next: at the limit by a straight line through the last
// two, but neither too near nor too far.
func (w *windSearch) leap(at, before *blown, share, shareBefore float64) float64 {
	const (
		nearMS = 4.0
		farMS  = 12.0
	)
	v := math.Sqrt(at.q)
	near, far := (v+nearMS)*(v+nearMS), (v+farMS)*(v+farMS)
	if before == nil || share <= shareBefore {
		return far
	}
	slope := (share - shareBefore) / (at.q - before.q)
	return min(max(at.q+1.02*(1-share)/slope, near), far)
}

// between closes in on the limit between two winds by regula falsi, halving the
// weight of an end that stays (the Illinois rule).
func (w *windSearch) between(low, high *blown, share, highShare float64, line int, limit func(int) float64) (Threshold, *blown) {
	const (
		tight = 1e-7 // of the limit
		tries = 60
	)
	a, b := share-1, highShare-1
	side := 0
	for range tries {
		if b <= tight || high.q-low.q <= 1e-9*high.q {
			break
		}
		q := (low.q + high.q) / 2
		if !math.IsInf(b, 1) {
			q = (low.q*b - high.q*a) / (b - a)
		}
		mid := w.at(q, low.pose(high, q))
		x, i := w.most(mid, limit)
		if x >= 1 {
			high, b, line = mid, x-1, i
			if side > 0 {
				a /= 2
			}
			side = 1
		} else {
			low, a = mid, x-1
			if side < 0 && !math.IsInf(b, 1) {
				b /= 2
			}
			side = -1
			if -a <= tight {
				return Threshold{math.Sqrt(mid.q), i}, low
			}
		}
	}
	return Threshold{math.Sqrt(high.q), line}, low
}

// carriedOff finds the wind at which brakes render and nothing holds the ship, or
// at which a line breaks all the same: from the wind at which the first brake
// renders, upward, then by halves.
func (w *windSearch) carriedOff(rendersMS float64, below *blown) Threshold {
	const (
		step  = 1.15 // in the square of the speed
		first = 4.0  // (m/s)², where the brake renders in calm
		tight = 2e-3 // of the square: a thousandth of the speed
	)
	low := &blown{q: rendersMS * rendersMS, State: below.State}
	line := -1
	high := max(low.q*step, first)
	for ; ; high *= step {
		if low.q >= CeilingMS*CeilingMS {
			return Threshold{math.Inf(1), -1}
		}
		next, breaks := w.giving(high, low.Pose)
		if next.lost {
			line = breaks
			break
		}
		low = next
	}
	for high-low.q > tight*high {
		q := (low.q + high) / 2
		if next, breaks := w.giving(q, low.Pose); next.lost {
			high, line = q, breaks
		} else {
			low = next
		}
	}
	if high > CeilingMS*CeilingMS {
		return Threshold{math.Inf(1), -1}
	}
	return Threshold{math.Sqrt(high), line}
}

// giving is the ship at rest in a wind with brakes that render, lost where she
// has none within reach of her place or a line breaks.
func (w *windSearch) giving(q float64, from mooring.Pose) (*blown, int) {
	s, err := w.solve(w.force(q), w.m.lengths, w.render, from)
	if err != nil || math.Hypot(s.Pose.SurgeM, s.Pose.SwayM) > adriftM {
		return &blown{q: q, lost: true}, -1
	}
	g := &blown{q: q, State: s}
	share, line := w.most(g, func(i int) float64 { return w.m.bounds[i].breaking })
	g.lost = share >= 1
	return g, line
}
