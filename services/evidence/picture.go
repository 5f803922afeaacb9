package evidence

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"hawser/detect"
	"hawser/services/caution"
	"hawser/services/drawing/plot"
)

// neighbours is how many other lines a picture shows.
const neighbours = 3

// picture draws an alarm, from the top: the loads of the line concerned and its
// neighbours, what decided against its threshold, what the fit leaves
// unexplained, and pay-out where a drum tells it.
func (r *Recorder) picture(c *detect.Change) []byte {
	from, to := r.window(c)
	d := &drawing{}
	d.From, d.To, d.Zero = from, to, c.Time
	d.Unit, d.Step = "s", second
	if to-from > tickKept {
		d.Unit, d.Step = "min", minute
	}
	d.title = fmt.Sprintf("%s, %s, %s", c.Condition, r.where(c), time.Unix(0, c.Time).UTC().Format("2 January 2006"))
	d.text = wrap(c.Detail, 120)
	d.foot = []string{fmt.Sprintf("%s at berth %s. Times are UTC; below is the time from when it was said.", r.plan.Ship.Name, r.plan.Berth)}
	d.foot = append(d.foot, wrap(caution.Full, 120)...)
	d.Marks = append(d.Marks, plot.Mark{At: c.Time, Name: "said " + clock(c.Time)})
	switch {
	case c.Onset >= from:
		d.Marks = append(d.Marks, plot.Mark{At: c.Onset, Name: "onset " + clock(c.Onset)})
	case c.Onset != 0:
		d.foot[0] += " The onset, " + clock(c.Onset) + ", was before what is shown."
	}

	shown := r.shown(c, from, to)
	d.Panels = append(d.Panels, r.loads(c, shown, from, to))
	if p, ok := r.decided(c, from, to); ok {
		d.Panels = append(d.Panels, p)
	} else if p.Title != "" {
		d.text = append(d.text, p.Title+".")
	}
	if p, ok := r.residuals(c, shown, from, to); ok {
		d.Panels = append(d.Panels, p)
	}
	if p, ok := r.payout(c, from, to); ok {
		d.Panels = append(d.Panels, p)
	}
	return d.svg()
}

func clock(t int64) string { return time.Unix(0, t).UTC().Format("15:04:05.0") }

func (r *Recorder) where(c *detect.Change) string {
	if c.Line == "" {
		return fmt.Sprintf("%s lines", c.Group)
	}
	return fmt.Sprintf("line %s (%s)", c.Line, c.Group)
}

// shown are the lines in a picture by index: the one concerned, then those of
// its group, then those whose loads changed most.
func (r *Recorder) shown(c *detect.Change, from, to int64) []int {
	var own, group, rest []int
	moved := make([]float64, len(r.plan.Lines))
	for i := range r.plan.Lines {
		p := &r.plan.Lines[i]
		t := &r.lines[i].tension
		if moved[i] = math.Abs(t.mean(to-mean, to)-t.mean(from, from+mean)) / p.MBLkN; math.IsNaN(moved[i]) {
			moved[i] = 0
		}
		switch times, _ := t.between(from, to); {
		case p.ID == c.Line:
			own = append(own, i)
		case len(times) == 0: // nothing to show
		case p.Group == c.Group:
			group = append(group, i)
		default:
			rest = append(rest, i)
		}
	}
	most := func(a, b int) int { return cmp.Or(cmp.Compare(moved[b], moved[a]), cmp.Compare(a, b)) }
	slices.SortFunc(group, most)
	slices.SortFunc(rest, most)
	others := slices.Concat(group, rest)
	return append(own, others[:min(neighbours, len(others))]...)
}

// stroke is the stroke of the k-th line shown; the heavy one is the line
// concerned's alone.
func stroke(c *detect.Change, k int) plot.Stroke {
	if c.Line == "" {
		k++
	}
	if k == 0 {
		return plot.Heavy()
	}
	return plot.Other(k)
}

// loads are the readings of the load pins as they came.
func (r *Recorder) loads(c *detect.Change, shown []int, from, to int64) plot.Panel {
	p := plot.Panel{Title: "Load, kN", Height: 230}
	for k, i := range shown {
		times, values := r.lines[i].tension.between(from, to)
		p.Curves = append(p.Curves, plot.Curve{Label: "line " + r.plan.Lines[i].ID, Stroke: stroke(c, k), Times: times, Values: values})
	}
	if i := r.plan.Line(c.Line); i >= 0 {
		p.Limit(r.plan.WorkingLoadKN(i), "working load limit")
	}
	return p
}

// fewest is the number of values that are worth a panel of their own.
const fewest = 5

// decided is what was weighed against its threshold, its title in figures; ok is
// false where there is too little to draw.
func (r *Recorder) decided(c *detect.Change, from, to int64) (p plot.Panel, ok bool) {
	p.Height = 150
	value, threshold := plot.Curve{Label: "value", Stroke: plot.Heavy()}, plot.Curve{Label: "threshold", Stroke: plot.Dashed()}
	line := r.plan.Line(c.Line)
	r.seen(from, to).between(from, to, func(l *look) {
		f, ok := l.figure(c.By, line, c.Group)
		if !ok {
			return
		}
		value.Add(l.time, f.value)
		threshold.Add(l.time, f.threshold)
	})
	r.ticks.between(c.Time, c.Time, func(l *look) {
		if f, ok := l.figure(c.By, line, c.Group); ok {
			p.Title = decidedTitle(c.By, f)
		}
	})
	p.Curves = append(p.Curves, value, threshold)
	return p, len(value.Times) >= fewest
}

func decidedTitle(by detect.Measure, f figure) string {
	told := "at or over"
	if by.Below() {
		told = "under"
	}
	unit := by.Unit()
	if unit != "" {
		unit = " " + unit
	}
	return fmt.Sprintf("What decided: %s, %s%s; told %s %s", by, plot.Number(significant(f.value)), unit, told, plot.Number(significant(f.threshold)))
}

// significant is a figure to three digits.
func significant(v float64) float64 {
	if v == 0 {
		return 0
	}
	unit := math.Pow(10, math.Floor(math.Log10(math.Abs(v)))-2)
	return math.Round(v/unit) * unit
}

// residuals is the load of each line less what the other lines speak for; over a
// long time, means of ten seconds.
func (r *Recorder) residuals(c *detect.Change, shown []int, from, to int64) (plot.Panel, bool) {
	p := plot.Panel{Title: "Residual, kN: load less what the other lines speak for", Height: 150}
	step := int64(1)
	if to-from > tickKept {
		step = mean
		p.Title += "; means of 10 s"
	}
	p.Levels = append(p.Levels, plot.Level{Value: 0})
	any := false
	for k, i := range shown {
		v := plot.Curve{Label: "line " + r.plan.Lines[i].ID, Stroke: stroke(c, k)}
		var sum, n float64
		span := int64(0)
		r.seen(from, to).between(from, to, func(l *look) {
			if l.time/step != span {
				v.Add(span*step+step/2, sum/n)
				span, sum, n = l.time/step, 0, 0
			}
			if x := l.lines[i].Residual; !math.IsNaN(x) {
				sum, n, any = sum+x, n+1, true
			}
		})
		v.Times, v.Values = v.Times[1:], v.Values[1:] // the empty one it began with
		p.Curves = append(p.Curves, v)
	}
	return p, any
}

// payout is what the drum of the line concerned paid out, and its brake.
func (r *Recorder) payout(c *detect.Change, from, to int64) (plot.Panel, bool) {
	i := r.plan.Line(c.Line)
	if i < 0 {
		return plot.Panel{}, false
	}
	times, values := r.lines[i].payout.between(from, to)
	p := plot.Panel{Title: "Paid out, m", Height: 110, Least: 0.1}
	p.Curves = append(p.Curves, plot.Curve{Label: "line " + c.Line, Stroke: plot.Heavy(), Times: times, Values: values})
	at, set := r.lines[i].brake.between(from, to)
	released := 0
	for k := range at {
		if set[k] < 0.5 {
			released++
		}
	}
	switch {
	case len(at) == 0:
		p.Title += "; brake not told"
	case released == 0:
		p.Title += "; brake set all the while"
	default:
		p.Title += fmt.Sprintf("; brake released in %d of %d readings", released, len(at))
	}
	return p, len(times) > 0
}

// wrap cuts a sentence into lines of at most n characters.
func wrap(s string, n int) (lines []string) {
	line := ""
	for _, w := range strings.Fields(s) {
		if line != "" && len(line)+1+len(w) > n {
			lines, line = append(lines, line), ""
		}
		if line != "" {
			line += " "
		}
		line += w
	}
	return append(lines, line)
}
