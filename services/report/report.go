// Package report writes down one stay of a ship at a berth, for the ship's and the
// terminal's records: what the lines carried, the worst moments, the alarms and who
// took them on, what the crew did, wind and water, and how good the data were. It
// judges nothing that the detectors have not, and says of no place that it is safe.
// Its invariant: the same readings and alarms give the same report.
//
//	Source (store or recording) ─┐
//	alarms ──────────────────────┼─► Figures ─► Document ┬─► HTML, plots as SVG
//	plan, stay ──────────────────┘                       └─► PDF, the same plots
//
// Figures are reckoned on steps of ten seconds, or of a minute for stays over ten
// days: least, mean and greatest of each. A peak is the greatest single reading; the
// time over a limit is that of the steps whose mean is at or over it.
package report

import (
	"context"
	"errors"
	"time"

	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/services/alarm"
	"hawser/services/stay"
)

// Course is the readings of one channel over steps, in columns.
type Course struct {
	Channel        reading.Channel
	Time           []int64 // start of the step, or of the reading; Unix nanoseconds
	Min, Mean, Max []float64
}

// Source gives the readings of a berth. Channels without readings have no course.
type Source interface {
	// Reduced gives the good readings of a kind of channel in steps counted from the
	// Unix epoch; a step without readings is not there.
	Reduced(ctx context.Context, kind reading.Kind, from, to time.Time, step time.Duration) ([]Course, error)
	// Plain gives them as they are: Min, Mean and Max are the same column.
	Plain(ctx context.Context, kind reading.Kind, from, to time.Time) ([]Course, error)
	// Each hands over all that Plain would give, in parts: of each channel in order of
	// time. A part is valid until fn returns.
	Each(ctx context.Context, kind reading.Kind, from, to time.Time, fn func(*Course)) error
	// Bad counts the readings that were no numbers, by line, of load pins.
	Bad(ctx context.Context, from, to time.Time) (map[string]int, error)
}

// Input is what a report is made of. Plan and Source are required.
type Input struct {
	Plan        *mooring.Plan
	Fingerprint string // of the plan
	Stay        stay.Stay
	Source      Source
	Alarms      []alarm.State
	// FromRecording says that the alarms are those of a replay, of which nobody was
	// told.
	FromRecording bool
	Zone          *time.Location // whose local time is given beside UTC; nil for none
	Made          time.Time
	Version       string // of the program
}

const (
	fineStep    = 10 * time.Second
	coarseStep  = time.Minute
	fineLongest = 10 * 24 * time.Hour
	// longestStay is the longest stay that a report is made of.
	longestStay = 60 * 24 * time.Hour
)

// ErrNothing says that there are no readings to report on.
var ErrNothing = errors.New("there are no load readings in this time")

// ErrLong says that a stay is longer than a report is made of.
var ErrLong = errors.New("longer than 60 days: ask for a part of it")

// Render sets the figures out as PDF, or as one page of HTML.
func Render(f *Figures, pdf bool) ([]byte, error) {
	d := Compose(f)
	if pdf {
		return PDF(d, f.Made)
	}
	return HTML(d)
}

// span is the time that the loads are reckoned over: under watch, or all of the stay
// where the berth did not tell its watch.
func span(s *stay.Stay) (from, to time.Time) {
	from, to = s.Arrival, s.End()
	if !s.MadeFast.IsZero() {
		from = s.MadeFast
	}
	if !s.LetGo.IsZero() {
		to = s.LetGo
	}
	return from, to
}

// Cut is the part of a stay between two times, either of which may be zero.
func Cut(s stay.Stay, from, to time.Time) stay.Stay {
	if from.After(s.Arrival) {
		s.Arrival = from
		if !s.MadeFast.IsZero() && s.MadeFast.Before(from) {
			s.MadeFast = from
		}
	}
	if !to.IsZero() && to.Before(s.End()) {
		s.Newest = to
		if !s.Departure.IsZero() {
			s.Departure = to
		}
		if s.LetGo.After(to) {
			s.LetGo = time.Time{}
		}
	}
	return s
}

func stepOf(from, to time.Time) time.Duration {
	if to.Sub(from) > fineLongest {
		return coarseStep
	}
	return fineStep
}
