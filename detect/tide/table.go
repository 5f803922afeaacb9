package tide

import (
	"errors"
	"math"
	"time"

	"gonum.org/v1/gonum/interp"

	"hawser/detect/mooring"
)

// table is a level for each of some times, and the way between them.
//
// Where every level but the first and the last is a high or a low water, as in
// a printed tide table, the way between two is half a cosine:
//
//	h = h1 + (h2 − h1) (1 − cos(π (t − t1)/(t2 − t1))) / 2
//
// Source: the formula that the Australian hydrographic service gives with its
// tide tables, said there to do where rise and fall take 5 to 7 hours; in
// shallow estuaries and at double high waters a closer table is needed. A closer
// table is joined by Akima's cubic (Journal of the ACM 17, 1970), which comes
// round a crest between two levels and swings on little after a sharp bend.
type table struct {
	times  []time.Time
	levels []float64
	cubic  *interp.AkimaSpline // nil: half cosines
}

func newTable(points []mooring.TideLevel) (*table, error) {
	if len(points) < 2 {
		return nil, errors.New("tide: a table must have 2 levels or more")
	}
	t := &table{}
	hours := make([]float64, len(points))
	for i, p := range points {
		if i > 0 && !p.At.After(points[i-1].At) {
			return nil, errors.New("tide: the times of a table must rise: " + p.At.UTC().Format(time.RFC3339) + " does not")
		}
		t.times = append(t.times, p.At)
		t.levels = append(t.levels, p.LevelM)
		hours[i] = t.hours(p.At)
	}
	if t.turns() {
		return t, nil
	}
	t.cubic = &interp.AkimaSpline{}
	return t, t.cubic.Fit(hours, t.levels)
}

func (t *table) hours(at time.Time) float64 { return at.Sub(t.times[0]).Hours() }

// turns holds where every level inside is a high or a low water, or begins or
// ends a stand.
func (t *table) turns() bool {
	for i := 1; i+1 < len(t.levels); i++ {
		if (t.levels[i]-t.levels[i-1])*(t.levels[i+1]-t.levels[i]) > 0 {
			return false
		}
	}
	return true
}

func (t *table) at(at time.Time) (levelM float64, ok bool) {
	last := len(t.times) - 1
	if at.Before(t.times[0]) || at.After(t.times[last]) {
		return 0, false
	}
	if t.cubic != nil {
		return t.cubic.Predict(t.hours(at)), true
	}
	i := 1
	for i < last && at.After(t.times[i]) {
		i++
	}
	part := float64(at.Sub(t.times[i-1])) / float64(t.times[i].Sub(t.times[i-1]))
	return t.levels[i-1] + (t.levels[i]-t.levels[i-1])*(1-math.Cos(math.Pi*part))/2, true
}
