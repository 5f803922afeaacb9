package reckon

import (
	"math"

	"hawser/detect/assess"
	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/services/live"
)

// present is a berth's mooring as its loads are now, the conditions it lies in, and
// how many lines' loads are known. A force that wind does not explain is kept among
// the others, so that the ship rests with the loads as measured.
func present(means *live.Means) (*assess.Mooring, assess.Conditions, int) {
	c := conditions(means)
	m, left := assess.Measured(means.Plan, means.TensionKN, c)
	c.Other = c.Other.Plus(left)
	known := 0
	for _, kN := range means.TensionKN {
		if !math.IsNaN(kN) {
			known++
		}
	}
	return m, c, known
}

// conditions are what a berth reports, and the plan's reference where it does not.
func conditions(means *live.Means) assess.Conditions {
	c, w := reported(means, assess.Conditions{}, reference(means.Plan))
	w.Put(&c, means.Plan)
	return c
}

// reported puts what a berth reports of wind, water and drafts in the place of what
// is taken for them otherwise.
func reported(means *live.Means, c assess.Conditions, w assess.Waters) (assess.Conditions, assess.Waters) {
	speed, ok1 := means.Value(reading.WindSpeed)
	from, ok2 := means.Value(reading.WindDirection)
	if ok1 && ok2 {
		c.WindMS, c.WindFromDeg = speed, from
	}
	if v, ok := means.Value(reading.WaterLevel); ok {
		w.LevelM = v
	}
	fwd, ok1 := means.Value(reading.DraftFwd)
	aft, ok2 := means.Value(reading.DraftAft)
	if ok1 && ok2 {
		w.DraftFwdM, w.DraftAftM = fwd, aft
	}
	return c, w
}

func reference(p *mooring.Plan) assess.Waters {
	return assess.Waters{LevelM: p.Reference.WaterLevelM, DraftFwdM: p.Reference.DraftFwdM, DraftAftM: p.Reference.DraftAftM}
}

func underWatch(means *live.Means) (is, known bool) {
	v, ok := means.Value(reading.UnderWatch)
	return v != 0, ok
}

func instrumented(p *mooring.Plan) int {
	n := 0
	for i := range p.Lines {
		if p.Lines[i].Instrumented {
			n++
		}
	}
	return n
}
