package report

import (
	"context"
	"math"
	"slices"
	"time"

	"hawser/detect"
	"hawser/detect/reading"
)

const (
	mostMoments = 3
	apartFrom   = time.Hour        // of two moments
	around      = 10 * time.Minute // shown before and after
	shownLines  = 4
)

// worst picks the moments to show: each parting, then the highest peaks by the
// working load limit, an hour apart from each other at least.
func (f *Figures) worst(ctx context.Context) error {
	for _, s := range f.Alarms {
		i := f.Plan.Line(s.Line)
		if s.Condition != detect.LineParted.String() || i < 0 || len(f.Moments) == mostMoments {
			continue
		}
		at := s.Raised
		if !s.Onset.IsZero() {
			at = s.Onset
		}
		kN := math.NaN()
		if s.HasValue {
			kN = s.Value // as it was told
		}
		f.Moments = append(f.Moments, Moment{At: at, Line: i, KN: kN, Parts: true})
	}
	for len(f.Moments) < mostMoments {
		m, ok := f.nextWorst()
		if !ok {
			break
		}
		f.Moments = append(f.Moments, m)
	}
	for k := range f.Moments {
		if err := f.show(ctx, &f.Moments[k]); err != nil {
			return err
		}
	}
	return nil
}

// nextWorst is the highest peak that is far enough from those there are. Peaks under
// half of the working load limit are not among the worst.
func (f *Figures) nextWorst() (best Moment, ok bool) {
	most := 0.5
	if len(f.Moments) == 0 {
		most = 0 // the highest there is
	}
	for i := range f.Lines {
		l := &f.Lines[i]
		for k, t := range l.course.Time {
			at := time.Unix(0, t).UTC()
			share := l.course.Max[k] / l.WorkingKN
			if share <= most || slices.ContainsFunc(f.Moments, func(m Moment) bool { return m.At.Sub(at).Abs() < apartFrom }) {
				continue
			}
			most, ok = share, true
			best = Moment{At: at, Line: i, KN: l.course.Max[k]}
		}
	}
	return best, ok
}

// show reads what is drawn of a moment.
func (f *Figures) show(ctx context.Context, m *Moment) error {
	from, to := m.At.Add(-around), m.At.Add(around)
	loads, err := f.Source.Plain(ctx, reading.Tension, from, to)
	if err != nil {
		return err
	}
	most := make([]float64, len(f.Lines))
	by := make([]Course, len(f.Lines))
	for i := range most {
		most[i] = math.NaN()
	}
	for _, c := range loads {
		i := f.Plan.Line(c.Channel.Line)
		if i < 0 {
			continue
		}
		by[i] = c
		faults := f.faults(c.Channel.Line)
		for k, t := range c.Time {
			if above(c.Max[k], most[i]) && !inAny(faults, t, t+1) {
				most[i] = c.Max[k]
			}
		}
	}
	for i := range by { // the store may have let the readings go and kept the steps
		if len(by[i].Time) > 0 {
			continue
		}
		by[i] = f.Lines[i].course.between(from.UnixNano(), to.UnixNano())
		for _, v := range by[i].Max {
			if above(v, most[i]) {
				most[i] = v
			}
		}
	}
	m.Lines = append(m.Lines, m.Line)
	for _, i := range f.byShare(most) {
		if i != m.Line && !math.IsNaN(most[i]) && len(m.Lines) < shownLines {
			m.Lines = append(m.Lines, i)
		}
	}
	for _, i := range m.Lines {
		m.Loads = append(m.Loads, by[i])
	}
	wind, err := f.Source.Plain(ctx, reading.WindSpeed, from, to)
	if err != nil {
		return err
	}
	if len(wind) > 0 {
		m.Wind = wind[0]
	}
	return nil
}

// between is the part of a course that begins from one time and before another.
func (c *Course) between(from, to int64) Course {
	lo, _ := slices.BinarySearch(c.Time, from)
	hi, _ := slices.BinarySearch(c.Time, to)
	return Course{c.Channel, c.Time[lo:hi], c.Min[lo:hi], c.Mean[lo:hi], c.Max[lo:hi]}
}
