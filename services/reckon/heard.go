package reckon

import (
	"slices"

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/services/alarm"
)

// Heard is what alarms that stand tell of a mooring's lines, by their index in its plan.
type Heard struct {
	// Parted are those that have. Where one of several may have, the first of them is
	// taken for it: that it holds is what nobody knows.
	Parted  []int
	Maybe   []int // the others of those
	Slipped []int
	AtFault []int // whose load pins are
}

// Hear takes from alarms what they tell of the lines of a plan.
func Hear(p *mooring.Plan, standing []alarm.State) (h Heard) {
	add := func(to *[]int, i int) {
		if i >= 0 && !slices.Contains(*to, i) {
			*to = append(*to, i)
		}
	}
	for i := range standing {
		switch a := &standing[i]; a.Condition {
		case detect.LineParted.String():
			add(&h.Parted, p.Line(a.Line))
		case detect.BrakeSlip.String():
			add(&h.Slipped, p.Line(a.Line))
		case detect.SensorFault.String():
			add(&h.AtFault, p.Line(a.Line))
		}
	}
	for i := range standing {
		if standing[i].Condition != detect.Redistribution.String() {
			continue
		}
		for k, line := range h.doubtful(p, standing[i].Group) {
			if k == 0 {
				add(&h.Parted, line)
			} else {
				add(&h.Maybe, line)
			}
		}
	}
	h.Maybe = slices.DeleteFunc(h.Maybe, func(i int) bool { return slices.Contains(h.Parted, i) })
	return h
}

// doubtful are the lines of a group one of which has parted while no load pin showed it:
// those without one, or else with one at fault.
func (h *Heard) doubtful(p *mooring.Plan, group string) (lines []int) {
	blind := func(i int) bool { return !p.Lines[i].Instrumented }
	if !slices.ContainsFunc(p.Lines, func(l mooring.Line) bool { return l.Group.String() == group && !l.Instrumented }) {
		blind = func(i int) bool { return slices.Contains(h.AtFault, i) }
	}
	for i := range p.Lines {
		if p.Lines[i].Group.String() == group && blind(i) {
			lines = append(lines, i)
		}
	}
	return lines
}
