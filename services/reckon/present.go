package reckon

import (
	"math"
	"slices"

	"hawser/detect/assess"
	"hawser/detect/mooring"
	"hawser/detect/reading"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/live"
)

// present is a berth's mooring as its loads are now, the heavier ones, the conditions it
// lies in, and how many lines' loads are known. A force that wind does not explain is
// kept among the others, so that the ship rests with the loads as measured. Lines that
// have parted carry nothing, whatever their mean of the last minute.
func present(means *live.Means, parted []int) (*assess.Mooring, assess.Conditions, int) {
	c := conditions(means)
	loads, _ := heavier(means, parted)
	if !windTold(means) {
		c.Untold = assess.Untold(means.Plan, without(loads, parted), c)
	}
	m, left := assess.Measured(means.Plan, without(loads, parted), c)
	m.Part(parted...)
	c.Other = c.Other.Plus(left)
	known := 0
	for _, kN := range loads {
		if !math.IsNaN(kN) {
			known++
		}
	}
	return m, c, known
}

// trusted are means in which no load is known of the lines whose pins are at fault: a
// number may come in all the same.
func trusted(means live.Means, atFault []int) live.Means {
	means.TensionKN, means.RecentKN = slices.Clone(means.TensionKN), slices.Clone(means.RecentKN)
	for _, i := range atFault {
		means.TensionKN[i], means.RecentKN[i] = math.NaN(), math.NaN()
	}
	return means
}

// without are loads in which these lines carry nothing.
func without(loads []float64, lines []int) []float64 {
	loads = slices.Clone(loads)
	for _, i := range lines {
		loads[i] = 0
	}
	return loads
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

// windTold says that the berth reports the wind.
func windTold(means *live.Means) bool {
	_, speed := means.Value(reading.WindSpeed)
	_, from := means.Value(reading.WindDirection)
	return speed && from
}

func reference(p *mooring.Plan) assess.Waters {
	return assess.Waters{LevelM: p.Reference.WaterLevelM, DraftFwdM: p.Reference.DraftFwdM, DraftAftM: p.Reference.DraftAftM}
}

// linesMove says that the ship arrives or leaves, so that the loads are not those of a
// mooring.
func linesMove(means *live.Means) bool {
	return means.Operating == hawserv1.OperatingState_OPERATING_STATE_STOOD_DOWN ||
		means.Operating == hawserv1.OperatingState_OPERATING_STATE_LINES_MOVED
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
