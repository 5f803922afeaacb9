package report

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"hawser/services/drawing/plot"
)

const (
	plotLeft  = 40.0
	plotRight = sheetWidth - 68
	plotSmall = 10.0
	// plotSteps is about how many spans of time the courses of a whole stay are drawn
	// with.
	plotSteps = 500
)

// figure is an empty one over a time.
func (f *Figures) figure(from, to time.Time) *plot.Figure {
	return &plot.Figure{Left: plotLeft, Right: plotRight, From: from.UnixNano(), To: to.UnixNano(), Zone: time.UTC, Unit: "UTC", Small: plotSmall}
}

// coarse is the span of time of one place of a plot, whole steps.
func (f *Figures) coarse(from, to time.Time) time.Duration {
	n := max(1, int64(to.Sub(from))/plotSteps/int64(f.Step))
	return time.Duration(n) * f.Step
}

// gather gathers courses, each over its own full value, into a band and a mean.
func gather(courses []*Course, full []float64, step time.Duration) (b plot.Band, mean plot.Curve) {
	type cell struct{ lo, hi, sum, n float64 }
	cells := map[int64]*cell{}
	first, last := int64(math.MaxInt64), int64(math.MinInt64)
	for k, c := range courses {
		for j, t := range c.Time {
			at := t / int64(step)
			first, last = min(first, at), max(last, at)
			v := cells[at]
			if v == nil {
				v = &cell{lo: math.Inf(1), hi: math.Inf(-1)}
				cells[at] = v
			}
			v.lo, v.hi = min(v.lo, c.Min[j]/full[k]), max(v.hi, c.Max[j]/full[k])
			v.sum, v.n = v.sum+c.Mean[j]/full[k], v.n+1
		}
	}
	for at := first; at <= last; at++ {
		t := at*int64(step) + int64(step)/2
		v := cells[at]
		if v == nil {
			v = &cell{math.NaN(), math.NaN(), math.NaN(), 1}
		}
		b.Times, b.Lo, b.Hi = append(b.Times, t), append(b.Lo, v.lo), append(b.Hi, v.hi)
		mean.Add(t, v.sum/v.n)
	}
	return b, mean
}

const (
	loadBand  = plot.Colour("#bcd3e3")
	windBand  = plot.Colour("#dcdfe2")
	meanInk   = plot.Colour("#12466b")
	secondInk = plot.Colour("#b34700")
)

func meanStroke() plot.Stroke { return plot.Stroke{Colour: meanInk, Width: 1.2} }

func (f *Figures) shaded() (out []plot.Span) {
	for _, g := range f.Gaps {
		out = append(out, plot.Span{From: g.From.UnixNano(), To: g.From.Add(g.Long).UnixNano()})
	}
	return out
}

// overview is the loads of every group over the time, as shares of MBL.
func (f *Figures) overview() *plot.Figure {
	fig := f.figure(f.From, f.To)
	step := f.coarse(f.From, f.To)
	most := 0.0
	for _, g := range f.groups() {
		var courses []*Course
		var full []float64
		limit := math.Inf(1)
		for _, i := range g.lines {
			l := &f.Lines[i]
			if len(l.course.Time) > 0 {
				courses, full = append(courses, &l.course), append(full, l.MBLkN/100)
				most = max(most, 100*l.Max/l.MBLkN)
			}
			limit = min(limit, 100*l.WorkingKN/l.MBLkN)
		}
		lines := "lines"
		if len(g.lines) == 1 {
			lines = "line"
		}
		p := plot.Panel{Title: fmt.Sprintf("%s: %s %s, %% of MBL", sentence(g.name), lines, f.ids(g.lines)), Height: 62, Gaps: f.shaded()}
		b, mean := gather(courses, full, step)
		b.Fill, mean.Stroke, mean.Label = loadBand, meanStroke(), "mean"
		p.Bands, p.Curves = append(p.Bands, b), append(p.Curves, mean)
		p.Levels = append(p.Levels, plot.Level{Value: limit, Label: fmt.Sprintf("limit %.0f %%", limit)})
		fig.Panels = append(fig.Panels, p)
		most = max(most, limit)
	}
	for k := range fig.Panels { // one scale for all
		fig.Panels[k].Lo, fig.Panels[k].Hi = 0, 10*math.Ceil(most/10+0.3)
	}
	return fig
}

// glance is the stay on one look: the most loaded line of each moment, the wind and
// the water.
func (f *Figures) glance() *plot.Figure {
	from, to := f.Stay.Arrival, f.Stay.End()
	fig := f.figure(from, to)
	step := f.coarse(from, to)
	most := map[int64]float64{}
	limit := math.Inf(1)
	for i := range f.Lines {
		l := &f.Lines[i]
		limit = min(limit, 100*l.WorkingKN/l.MBLkN)
		for k, t := range l.course.Time {
			t -= t % int64(step)
			most[t] = max(most[t], 100*l.course.Max[k]/l.MBLkN)
		}
	}
	c := plot.Curve{Label: "highest", Stroke: meanStroke()}
	for _, t := range slices.Sorted(maps.Keys(most)) {
		c.Add(t+int64(step)/2, most[t])
	}
	p := plot.Panel{Title: "Highest load of any line, % of MBL", Height: 84, Curves: []plot.Curve{c}, Gaps: f.shaded()}
	p.Levels = append(p.Levels, plot.Level{Value: limit, Label: fmt.Sprintf("working load limit %.0f %%", limit)})
	p.Lo, p.Hi = 0, max(60, 10*math.Ceil(f.mostShare()*10+0.5))
	fig.Panels = append(fig.Panels, p)
	if len(f.wind.Time) > 0 {
		fig.Panels = append(fig.Panels, f.windPanel(step, 50))
	}
	if len(f.level.Time) > 0 {
		fig.Panels = append(fig.Panels, plot.Panel{Title: "Water level, m", Height: 36, Curves: []plot.Curve{{Label: "level", Stroke: meanStroke(), Times: f.level.Time, Values: f.level.Mean}}})
	}
	if !f.Stay.MadeFast.IsZero() {
		fig.Marks = append(fig.Marks, plot.Mark{At: f.Stay.MadeFast.UnixNano(), Name: "made fast"})
		if !f.Stay.LetGo.IsZero() {
			fig.Marks = append(fig.Marks, plot.Mark{At: f.Stay.LetGo.UnixNano(), Name: "let go"})
		}
	}
	return fig
}

func (f *Figures) windPanel(step time.Duration, height float64) plot.Panel {
	b, mean := gather([]*Course{&f.wind}, []float64{1}, step)
	b.Fill, mean.Stroke, mean.Label = windBand, meanStroke(), "mean"
	return plot.Panel{Title: "Wind speed, m/s", Height: height, Bands: []plot.Band{b}, Curves: []plot.Curve{mean}}
}

// mostShare is the highest load as a share of MBL.
func (f *Figures) mostShare() (most float64) {
	for i := range f.Lines {
		if l := &f.Lines[i]; l.Measured > 0 {
			most = max(most, l.Max/l.MBLkN)
		}
	}
	return most
}

// weatherPlot is wind, water and drafts over the whole stay.
func (f *Figures) weatherPlot() *plot.Figure {
	from, to := f.Stay.Arrival, f.Stay.End()
	fig := f.figure(from, to)
	step := f.coarse(from, to)
	if len(f.wind.Time) > 0 {
		p := f.windPanel(step, 90)
		p.Gaps = f.shaded()
		fig.Panels = append(fig.Panels, p)
	}
	if len(f.direction.Time) > 0 {
		c := plot.Curve{Stroke: plot.Stroke{Colour: meanInk, Width: 1}, Label: "from"}
		last := math.NaN()
		for _, m := range means(&f.direction, max(step, 10*time.Minute)) {
			if math.Abs(m.v-last) > 180 { // past north: not a line across the panel
				c.Add(m.t, math.NaN())
			}
			c.Add(m.t+1, m.v)
			last = m.v
		}
		fig.Panels = append(fig.Panels, plot.Panel{Title: "Wind from, degrees true", Height: 60, Lo: 0, Hi: 360, Curves: []plot.Curve{c}})
	}
	line := func(c *Course, label string, s plot.Stroke) plot.Curve {
		return plot.Curve{Label: label, Stroke: s, Times: c.Time, Values: c.Mean}
	}
	if len(f.level.Time) > 0 {
		fig.Panels = append(fig.Panels, plot.Panel{Title: "Water level, m above chart datum", Height: 75, Curves: []plot.Curve{line(&f.level, "level", meanStroke())}})
	}
	if len(f.fwd.Time) > 0 || len(f.aft.Time) > 0 {
		fig.Panels = append(fig.Panels, plot.Panel{Title: "Drafts, m", Height: 65, Least: 1, Curves: []plot.Curve{
			line(&f.fwd, "forward", meanStroke()), line(&f.aft, "aft", plot.Stroke{Colour: secondInk, Width: 1.4, Dash: []float64{5, 3}})}})
	}
	return fig
}

// momentPlot is one moment: the loads as read, and the wind.
func (f *Figures) momentPlot(m *Moment) *plot.Figure {
	fig := f.figure(m.At.Add(-around), m.At.Add(around))
	p := plot.Panel{Title: "Load, kN", Height: 150, Whole: true, Gaps: f.shaded()}
	for k, i := range m.Lines {
		c := plot.Curve{Label: "line " + f.Lines[i].ID, Stroke: plot.Heavy(), Times: m.Loads[k].Time, Values: m.Loads[k].Mean}
		if k > 0 {
			c.Stroke = plot.Other(k)
		}
		p.Curves = append(p.Curves, c)
	}
	p.Limit(f.Lines[m.Line].WorkingKN, "working load limit of line "+f.Lines[m.Line].ID+":")
	fig.Panels = append(fig.Panels, p)
	if len(m.Wind.Time) > 0 {
		fig.Panels = append(fig.Panels, plot.Panel{Title: "Wind speed, m/s", Height: 60, Curves: []plot.Curve{
			{Label: "wind", Stroke: meanStroke(), Times: m.Wind.Time, Values: m.Wind.Mean}}})
	}
	fig.Marks = []plot.Mark{{At: m.At.UnixNano(), Name: m.At.UTC().Format("15:04:05")}}
	return fig
}
