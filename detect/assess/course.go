package assess

import (
	"fmt"
	"sort"
	"time"

	"hawser/detect/mooring"
	"hawser/detect/tide"
)

// Moment is what the hours ahead bring at one time, as in Conditions, and the
// water level that it comes from, metres above chart datum.
type Moment struct {
	At                 time.Time
	LevelM             float64
	RiseFwdM, RiseAftM float64
	DraftM, DepthM     float64
}

// Waters is how deep the ship floats in how much water, metres; the level above
// chart datum, DepthM 0 for not known.
type Waters struct {
	LevelM, DraftFwdM, DraftAftM, DepthM float64
}

// Put sets the conditions of a ship of the plan that floats so.
func (w Waters) Put(c *Conditions, p *mooring.Plan) {
	c.RiseFwdM, c.RiseAftM = p.Rise(w.LevelM, w.DraftFwdM, w.DraftAftM)
	c.DraftM, c.DepthM = (w.DraftFwdM+w.DraftAftM)/2, w.DepthM
}

// Drafts are the drafts at a time, metres.
type Drafts struct {
	At         time.Time
	FwdM, AftM float64
}

// Course is what the water and the drafts do over time.
type Course struct {
	Tide  *tide.Curve // nil: the level stays
	Cargo []Drafts    // in order of time; nil: the drafts stay
}

// At is how she floats at a time by the course alone, and as now where that says
// nothing: drafts go straight between two of the cargo's times and stay as the
// nearest beyond them. The error is that the tide is not known then.
func (c *Course) At(at time.Time, now Waters) (Waters, error) {
	if c.Tide != nil {
		level, ok := c.Tide.At(at)
		if !ok {
			return now, fmt.Errorf("the tide table does not reach %s", at.UTC().Format(time.RFC3339))
		}
		if now.DepthM > 0 {
			now.DepthM += level - now.LevelM
		}
		now.LevelM = level
	}
	if n := len(c.Cargo); n > 0 {
		i := sort.Search(n, func(i int) bool { return c.Cargo[i].At.After(at) })
		a, b := &c.Cargo[max(i-1, 0)], &c.Cargo[min(i, n-1)]
		part := 0.0
		if span := b.At.Sub(a.At); span > 0 {
			part = float64(at.Sub(a.At)) / float64(span)
		}
		now.DraftFwdM, now.DraftAftM = a.FwdM+part*(b.FwdM-a.FwdM), a.AftM+part*(b.AftM-a.AftM)
	}
	if now.DepthM > 0 {
		now.DepthM = max(now.DepthM, now.DraftFwdM, now.DraftAftM)
	}
	return now, nil
}

// Moments lays the course out from a start over a length in steps. The tide is
// shifted as a whole to meet the level now, and by how much is returned: what is
// measured goes before what is foretold. Drafts of the cargo go before those now.
func (c *Course) Moments(p *mooring.Plan, now Waters, start time.Time, length, step time.Duration) (all []Moment, shiftM float64, err error) {
	first, err := c.At(start, now)
	if err != nil {
		return nil, 0, err
	}
	shiftM = now.LevelM - first.LevelM
	for at := start; !at.After(start.Add(length)); at = at.Add(step) {
		w, err := c.At(at, Waters{now.LevelM - shiftM, now.DraftFwdM, now.DraftAftM, now.DepthM})
		if err != nil {
			return nil, 0, err
		}
		w.LevelM += shiftM
		var x Conditions
		w.Put(&x, p)
		all = append(all, Moment{at, w.LevelM, x.RiseFwdM, x.RiseAftM, x.DraftM, x.DepthM})
	}
	return all, shiftM, nil
}
