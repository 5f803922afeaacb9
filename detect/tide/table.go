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
// table is joined by a cubic that rises and falls only where the levels do
// (Fritsch and Butland, 1984). It makes up no water that the table does not have,
// and cuts a crest that lies between two levels: by up to 0.016 of the range in a
// table by the hour. Cubics that come round a crest swing metres out where levels
// stand unevenly in time.
type table struct {
	times  []time.Time
	levels []float64
	cubic  *interp.FritschButland // nil: half cosines
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
	t.cubic = &interp.FritschButland{}
	return t, t.cubic.Fit(hours, t.levels)
}

func (t *table) hours(at time.Time) float64 { return hoursBetween(t.times[0], at) }

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
	part := hoursBetween(t.times[i-1], at) / hoursBetween(t.times[i-1], t.times[i])
	return t.levels[i-1] + (t.levels[i]-t.levels[i-1])*(1-math.Cos(math.Pi*part))/2, true
}
