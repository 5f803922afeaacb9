package reckon

import (
	"slices"
	"time"

	"hawser/detect"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/alarm"
	"hawser/services/live"
)

// saidFor is how long after a person's word that a line holds its pin is asked whether it
// bears that out: the watch and the next (common practice, no source).
const saidFor = 12 * time.Hour

// alone are the lines of a berth that no winch is to be worked on by what is reckoned,
// and why: to which load it would come is not to be seen, or whether it holds at all.
func (h *Heard) alone(all []alarm.State, means *live.Means, now time.Time) map[int]hawserv1.LeftAlone_Reason {
	p, why := means.Plan, map[int]hawserv1.LeftAlone_Reason{}
	for i := range all {
		a := &all[i]
		said := !a.Active() && a.Return.Detail == "" && now.Sub(a.Return.Recorded) < saidFor
		line := p.Line(a.Line)
		if line >= 0 && said && a.Condition == detect.LineParted.String() && !(means.TensionKN[line] >= float64(p.Limits.SlackFraction)*p.Lines[line].MBLkN) {
			why[line] = hawserv1.LeftAlone_REASON_SAID_TO_HOLD
		}
	}
	for _, i := range h.AtFault {
		why[i] = hawserv1.LeftAlone_REASON_PIN_AT_FAULT
	}
	for _, i := range h.Maybe {
		why[i] = hawserv1.LeftAlone_REASON_MAY_HAVE_PARTED
	}
	for _, i := range h.Parted {
		delete(why, i) // nobody works what is not there
	}
	return why
}

// standing are the alarms that are active.
func standing(all []alarm.State) []alarm.State {
	return slices.DeleteFunc(slices.Clone(all), func(a alarm.State) bool { return !a.Active() })
}
