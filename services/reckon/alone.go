package reckon

import (
	"maps"
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
// by the alarms, and why: which load it would come to is not to be seen, or whether it
// holds at all.
func alone(alarms Alarms, berth string, means *live.Means, now time.Time) map[int]hawserv1.LeftAlone_Reason {
	p, why := means.Plan, map[int]hawserv1.LeftAlone_Reason{}
	all, _ := alarms.List(berth, true)
	standing := slices.DeleteFunc(slices.Clone(all), func(a alarm.State) bool { return !a.Active() })
	for i := range all {
		a := &all[i]
		said := !a.Active() && a.Return.Detail == "" && now.Sub(a.Return.Recorded) < saidFor
		line := p.Line(a.Line)
		if line >= 0 && said && a.Condition == detect.LineParted.String() && !(means.TensionKN[line] >= float64(p.Limits.SlackFraction)*p.Lines[line].MBLkN) {
			why[line] = hawserv1.LeftAlone_REASON_SAID_TO_HOLD
		}
	}
	for i := range p.Lines {
		if pinAtFault(standing, p.Lines[i].ID) {
			why[i] = hawserv1.LeftAlone_REASON_PIN_AT_FAULT
		}
	}
	for i := range standing {
		for k, line := range doubtful(standing, &standing[i], p) {
			if k > 0 { // the first is taken for the one that has
				why[line] = hawserv1.LeftAlone_REASON_MAY_HAVE_PARTED
			}
		}
	}
	maps.DeleteFunc(why, func(line int, _ hawserv1.LeftAlone_Reason) bool {
		return slices.ContainsFunc(standing, func(a alarm.State) bool {
			return a.Condition == detect.LineParted.String() && a.Line == p.Lines[line].ID
		})
	})
	return why
}
