package evidence

import (
	"math"
	"slices"

	"hawser/detect"
	"hawser/detect/mooring"
)

// look is what the detectors saw at one moment.
type look struct {
	time             int64
	fitted           bool
	surge, sway, yaw float64
	lines            []detect.LineObservation
	figures          []figure
}

// figure is what a detector held against a threshold.
type figure struct {
	by               detect.Measure
	line             int           // index in the plan, -1 for a group
	group            mooring.Group // where line is -1
	value, threshold float64
}

// looks is a ring of looks.
type looks struct {
	kept []look
	n    int // ever
}

func newLooks(span, step int64) looks { return looks{kept: make([]look, span/step)} }

// add copies a look into the place of the oldest.
func (s *looks) add(l *detect.Observation) {
	k := &s.kept[s.n%len(s.kept)]
	s.n++
	k.time, k.fitted, k.surge, k.sway, k.yaw = l.Time, l.Fitted, l.Surge, l.Sway, l.Yaw
	k.lines = append(k.lines[:0], l.Lines...)
	k.figures = k.figures[:0]
	for m := detect.Unmeasured + 1; m <= detect.HoldingLLR; m++ {
		for i := range l.Lines {
			if v, t, ok := l.Statistic(m, i); ok {
				k.figures = append(k.figures, figure{m, i, 0, v, t})
			}
		}
		for g := mooring.Head; g <= mooring.Stern; g++ {
			if v, t, ok := l.GroupStatistic(m, g); ok {
				k.figures = append(k.figures, figure{m, -1, g, v, t})
			}
		}
	}
}

// between goes over the looks from one time up to and with another, oldest first.
func (s *looks) between(from, to int64, do func(*look)) {
	for n := max(0, s.n-len(s.kept)); n < s.n; n++ {
		if k := &s.kept[n%len(s.kept)]; k.time >= from && k.time <= to {
			do(k)
		}
	}
}

// figure is what was weighed on a line, or on a group where line is -1.
func (l *look) figure(by detect.Measure, line int, g mooring.Group) (figure, bool) {
	k := slices.IndexFunc(l.figures, func(f figure) bool {
		return f.by == by && f.line == line && (line >= 0 || f.group == g)
	})
	if k < 0 {
		return figure{value: math.NaN(), threshold: math.NaN()}, false
	}
	return l.figures[k], true
}
