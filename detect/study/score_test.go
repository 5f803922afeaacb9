package study_test

import (
	"cmp"
	"slices"

	"hawser/detect"
	"hawser/detect/mooring"
)

// Times are seconds since the case began.

// window is a time in which some alarms are neither right nor wrong. nil
// conditions or lines mean any.
type window struct {
	from, to   float64
	conditions []detect.Condition
	lines      []string
}

func (w *window) fits(a *alarm) bool {
	return w.from <= a.at && a.at <= w.to &&
		(w.conditions == nil || slices.Contains(w.conditions, a.condition)) &&
		(w.lines == nil || slices.Contains(w.lines, a.line))
}

// event is one thing that must be told from `from` to the deadline, on its line
// or, where that is empty, for its group.
type event struct {
	condition             detect.Condition
	line                  string
	groups                []mooring.Group
	from, onset, deadline float64
	accept                []detect.Condition
	repeats               bool
	tolerate              []window

	told   bool
	toldAt float64
}

// alarm is one raise.
type alarm struct {
	at        float64
	condition detect.Condition
	line      string
	group     mooring.Group
	detail    string
}

func (e *event) names(a *alarm) bool {
	if a.condition != e.condition && !slices.Contains(e.accept, a.condition) {
		return false
	}
	if e.line != "" {
		return a.line == e.line
	}
	return a.group == 0 && a.line == "" || slices.Contains(e.groups, a.group)
}

// truth is what is true of a case.
type truth struct {
	lineHours float64
	tolerate  []window
	events    []event
}

// tally is what came of one condition.
type tally struct {
	events, told, wrong int
	delays              []float64
}

// result is what came of one case or of many.
type result struct {
	by        map[detect.Condition]*tally
	chatter   int
	late      int
	neutral   int
	lineHours float64
	wrong     []alarm // false alarms
	missed    []event
	chattered []alarm
}

func (r *result) of(c detect.Condition) *tally {
	if r.by == nil {
		r.by = map[detect.Condition]*tally{}
	}
	if r.by[c] == nil {
		r.by[c] = &tally{}
	}
	return r.by[c]
}

// score holds raises, in order of time, against the truth. The first rule that
// fits counts: a detection fits an event not yet told, in its window; chatter
// tells one again; late is the right alarm after the deadline, in a window of
// the event's own; neutral fits a window that tolerates it; the rest is false.
func score(t *truth, alarms []alarm) result {
	r := result{lineHours: t.lineHours}
	for i := range alarms {
		a := &alarms[i]
		switch judge(t, a) {
		case detected:
		case chatter:
			r.chatter++
			r.chattered = append(r.chattered, *a)
		case late:
			r.late++
		case neutral:
			r.neutral++
		default:
			r.of(a.condition).wrong++
			r.wrong = append(r.wrong, *a)
		}
	}
	for _, e := range t.events {
		c := r.of(e.condition)
		c.events++
		if !e.told {
			r.missed = append(r.missed, e)
			continue
		}
		c.told++
		c.delays = append(c.delays, e.toldAt-e.onset)
	}
	return r
}

type verdict uint8

const (
	wrong verdict = iota
	detected
	chatter
	late
	neutral
)

func judge(t *truth, a *alarm) verdict {
	var best *event
	var told, tooLate, own, borne bool
	for i := range t.events {
		e := &t.events[i]
		if !e.names(a) {
			continue
		}
		in := e.from <= a.at && a.at <= e.deadline
		if in && !e.told && (best == nil || better(e, best, a)) {
			best = e
		}
		if in || slices.ContainsFunc(e.tolerate, func(w window) bool { return w.fits(a) }) {
			own = true
			told = told || e.told && !e.repeats
			tooLate = tooLate || !e.told && a.at > e.deadline
		}
	}
	if best != nil {
		best.told, best.toldAt = true, a.at
		return detected
	}
	for i := range t.events {
		borne = borne || slices.ContainsFunc(t.events[i].tolerate, func(w window) bool { return w.fits(a) })
	}
	borne = borne || slices.ContainsFunc(t.tolerate, func(w window) bool { return w.fits(a) })
	switch {
	case told:
		return chatter
	case tooLate:
		return late
	case own || borne:
		return neutral
	}
	return wrong
}

func better(e, than *event, a *alarm) bool {
	own := func(e *event) int {
		if e.condition == a.condition {
			return 0
		}
		return 1
	}
	return cmp.Or(cmp.Compare(own(e), own(than)), cmp.Compare(e.deadline, than.deadline)) < 0
}

// add merges another result in.
func (r *result) add(o *result) {
	r.chatter += o.chatter
	r.late += o.late
	r.neutral += o.neutral
	r.lineHours += o.lineHours
	for c, t := range o.by {
		to := r.of(c)
		to.events += t.events
		to.told += t.told
		to.wrong += t.wrong
		to.delays = append(to.delays, t.delays...)
	}
}
