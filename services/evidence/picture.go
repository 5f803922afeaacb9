package evidence

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"hawser/detect"
)

// neighbours is how many other lines a picture shows.
const neighbours = 3

// picture draws an alarm, from the top: the loads of the line concerned and its
// neighbours, what decided against its threshold, what the fit leaves
// unexplained, and pay-out where a drum tells it.
func (r *Recorder) picture(c *detect.Change) []byte {
	from, to := r.window(c)
	d := &drawing{from: from, to: to, zero: c.Time}
	d.unit, d.step = "s", second
	if to-from > tickKept {
		d.unit, d.step = "min", minute
	}
	d.title = fmt.Sprintf("%s, %s, %s", c.Condition, r.where(c), time.Unix(0, c.Time).UTC().Format("2 January 2006"))
	d.text = wrap(c.Detail, 120)
	d.foot = []string{fmt.Sprintf("%s at berth %s. Time is from when it was said.", r.plan.Ship.Name, r.plan.Berth)}
	d.foot = append(d.foot, wrap(Caution, 120)...)
	d.marks = append(d.marks, mark{c.Time, "said " + clock(c.Time)})
	switch {
	case c.Onset >= from:
		d.marks = append(d.marks, mark{c.Onset, "onset " + clock(c.Onset)})
	case c.Onset != 0:
		d.foot[0] += " The onset, " + clock(c.Onset) + ", was before what is shown."
	}

	shown := r.shown(c, from, to)
	d.panels = append(d.panels, r.loads(c, shown, from, to))
	if p, ok := r.decided(c, from, to); ok {
		d.panels = append(d.panels, p)
	} else if p.title != "" {
		d.text = append(d.text, p.title+".")
	}
	if p, ok := r.residuals(c, shown, from, to); ok {
		d.panels = append(d.panels, p)
	}
	if p, ok := r.payout(c, from, to); ok {
		d.panels = append(d.panels, p)
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
func stroke(c *detect.Change, k int) int {
	if c.Line == "" {
		k++
	}
	return k
}

// loads are the readings of the load pins as they came.
func (r *Recorder) loads(c *detect.Change, shown []int, from, to int64) panel {
	p := panel{title: "Load, kN", height: 230}
	for k, i := range shown {
		times, values := r.lines[i].tension.between(from, to)
		p.curves = append(p.curves, curve{label: "line " + r.plan.Lines[i].ID, stroke: stroke(c, k), times: times, values: values})
	}
	if i := r.line(c); i >= 0 {
		p.limit(r.plan.WorkingLoadKN(i), "working load limit")
	}
	return p
}

// fewest is the number of values that are worth a panel of their own.
const fewest = 5

// decided is what was weighed against its threshold, its title in figures; ok is
// false where there is too little to draw.
func (r *Recorder) decided(c *detect.Change, from, to int64) (p panel, ok bool) {
	p.height = 150
	value, threshold := curve{label: "value", stroke: heavy}, curve{label: "threshold", stroke: dashed}
	line := r.line(c)
	r.seen(from, to).between(from, to, func(l *look) {
		f, ok := l.figure(c.By, line, c.Group)
		if !ok {
			return
		}
		value.add(l.time, f.value)
		threshold.add(l.time, f.threshold)
	})
	r.ticks.between(c.Time, c.Time, func(l *look) {
		if f, ok := l.figure(c.By, line, c.Group); ok {
			p.title = decidedTitle(c.By, f)
		}
	})
	p.curves = append(p.curves, value, threshold)
	return p, len(value.times) >= fewest
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
	return fmt.Sprintf("What decided: %s, %s%s; told %s %s", by, text(significant(f.value)), unit, told, text(significant(f.threshold)))
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
func (r *Recorder) residuals(c *detect.Change, shown []int, from, to int64) (panel, bool) {
	p := panel{title: "Residual, kN: load less what the other lines speak for", height: 150}
	step := int64(1)
	if to-from > tickKept {
		step = mean
		p.title += "; means of 10 s"
	}
	p.levels = append(p.levels, level{value: 0})
	any := false
	for k, i := range shown {
		v := curve{label: "line " + r.plan.Lines[i].ID, stroke: stroke(c, k)}
		var sum, n float64
		span := int64(0)
		r.seen(from, to).between(from, to, func(l *look) {
			if l.time/step != span {
				v.add(span*step+step/2, sum/n)
				span, sum, n = l.time/step, 0, 0
			}
			if x := l.lines[i].Residual; !math.IsNaN(x) {
				sum, n, any = sum+x, n+1, true
			}
		})
		v.times, v.values = v.times[1:], v.values[1:] // the empty one it began with
		p.curves = append(p.curves, v)
	}
	return p, any
}

// payout is what the drum of the line concerned paid out, and its brake.
func (r *Recorder) payout(c *detect.Change, from, to int64) (panel, bool) {
	i := r.line(c)
	if i < 0 {
		return panel{}, false
	}
	times, values := r.lines[i].payout.between(from, to)
	p := panel{title: "Paid out, m", height: 110, least: 0.1}
	p.curves = append(p.curves, curve{label: "line " + c.Line, stroke: heavy, times: times, values: values})
	at, set := r.lines[i].brake.between(from, to)
	released := 0
	for k := range at {
		if set[k] < 0.5 {
			released++
		}
	}
	switch {
	case len(at) == 0:
		p.title += "; brake not told"
	case released == 0:
		p.title += "; brake set all the while"
	default:
		p.title += fmt.Sprintf("; brake released in %d of %d readings", released, len(at))
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
