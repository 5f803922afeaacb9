package evidence

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math"
	"strconv"
)

// Measures of a picture, in pixels.
const (
	width     = 960.0
	left      = 70.0
	right     = 830.0 // of the axes; what is to the right of it names the curves
	lineHigh  = 18.0
	panelHead = 24.0 // over a panel, for its title
	panelGap  = 12.0
	apart     = 14.0 // least distance between two names
)

// drawing is panels one under another over one axis of time.
type drawing struct {
	title      string
	text, foot []string
	from, to   int64 // Unix nanoseconds
	zero       int64 // time that is 0 on the axis
	step       int64 // nanoseconds of one unit of it
	unit       string
	marks      []mark
	panels     []panel
}

// mark is a moment with a name.
type mark struct {
	at   int64
	name string
}

type panel struct {
	title  string
	height float64
	least  float64 // least span of the axis
	curves []curve
	levels []level
}

// level is a value that stands.
type level struct {
	value float64
	label string
}

// limit shows a limit: as a level where the curves come anywhere near it, else in
// words.
func (p *panel) limit(v float64, name string) {
	_, hi := p.span()
	name = fmt.Sprintf("%s %s", name, text(v))
	if v > 2.5*hi {
		p.title += "; " + name + ", beyond the axis"
		return
	}
	p.levels = append(p.levels, level{v, name})
}

// span is the range of a panel's values, with some room.
func (p *panel) span() (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	take := func(v float64) {
		if known(v) {
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	for _, c := range p.curves {
		for _, v := range c.values {
			take(v)
		}
	}
	for _, l := range p.levels {
		take(l.value)
	}
	if lo > hi {
		return 0, 1
	}
	if lo > 0 && lo < hi/2 {
		lo = 0
	}
	room := max(0.06*(hi-lo), (p.least-(hi-lo))/2, 1e-6*max(math.Abs(hi), 1))
	if lo != 0 {
		lo -= room
	}
	return lo, hi + room
}

// ticks are round values from lo to hi, about n of them.
func ticks(lo, hi float64, n int) (at []float64) {
	raw := (hi - lo) / float64(n)
	step := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range [...]float64{1, 2, 5, 10} {
		if m*step >= 0.7*raw {
			step *= m
			break
		}
	}
	for k := math.Ceil(lo / step); k*step <= hi; k++ {
		at = append(at, k*step)
	}
	return at
}

// text is a number as short as it can be told, with a true minus.
func text(v float64) string {
	s := strconv.FormatFloat(math.Round(v*1e6)/1e6+0, 'g', 6, 64)
	if s[0] == '-' {
		s = "−" + s[1:]
	}
	return s
}

func (d *drawing) x(t int64) float64 {
	return left + (right-left)*float64(t-d.from)/float64(max(d.to-d.from, 1))
}

// svg writes the drawing.
func (d *drawing) svg() []byte {
	high := 34 + lineHigh*float64(len(d.text)+2)
	first := high
	for _, p := range d.panels {
		high += panelHead + p.height + panelGap
	}
	bottom := high - panelGap
	high += 36 + lineHigh*float64(len(d.foot)) + 8

	var w bytes.Buffer
	fmt.Fprintf(&w, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" width="%g" height="%g" role="img" font-family="system-ui, sans-serif" font-size="13" fill="#111111">`+"\n", width, high, width, high)
	fmt.Fprintf(&w, "<title>%s</title>\n", escaped(d.title))
	fmt.Fprintf(&w, `<rect width="%g" height="%g" fill="#ffffff"/>`+"\n", width, high)
	say(&w, left, 28, "start", `font-size="18" font-weight="bold"`, d.title)
	for k, s := range d.text {
		say(&w, left, 52+lineHigh*float64(k), "start", "", s)
	}
	y := first
	for k := range d.panels {
		p := &d.panels[k]
		say(&w, left, y+panelHead-8, "start", `font-weight="bold"`, p.title)
		d.panel(&w, p, y+panelHead)
		y += panelHead + p.height + panelGap
	}
	d.moments(&w, first, bottom)
	d.axis(&w, bottom)
	for k, s := range d.foot {
		say(&w, left, bottom+52+lineHigh*float64(k), "start", `fill="#444444"`, s)
	}
	w.WriteString("</svg>\n")
	return w.Bytes()
}

// axis writes the times under the last panel.
func (d *drawing) axis(w *bytes.Buffer, y float64) {
	lo, hi := float64(d.from-d.zero)/float64(d.step), float64(d.to-d.zero)/float64(d.step)
	for _, v := range ticks(lo, hi, 10) {
		say(w, d.x(d.zero+int64(v*float64(d.step))), y+18, "middle", `fill="#444444"`, text(v))
	}
	say(w, right+24, y+18, "start", `fill="#444444"`, d.unit)
}

// moments draws the marks through all panels, their names over the first, one
// to the left and one to the right so that they do not meet.
func (d *drawing) moments(w *bytes.Buffer, top, bottom float64) {
	for k, m := range d.marks {
		x, anchor, off := d.x(m.at), "start", 4.0
		if k > 0 {
			anchor, off = "end", -4
		}
		if x-left < 130 {
			anchor, off = "start", 4
		}
		fmt.Fprintf(w, `<path d="M%.1f %.1fV%.1f" stroke="#111111" stroke-width="1" %s/>`+"\n", x, top-12, bottom,
			[]string{"", `stroke-dasharray="3 3"`}[min(k, 1)])
		say(w, x+off, top-4-lineHigh*float64(k%2)/2, anchor, `font-size="12"`, m.name)
	}
}

// panel draws one panel whose axes begin at y.
func (d *drawing) panel(w *bytes.Buffer, p *panel, top float64) {
	lo, hi := p.span()
	y := func(v float64) float64 { return top + p.height*(hi-v)/(hi-lo) }
	for _, v := range ticks(lo, hi, max(2, int(p.height/40))) {
		fmt.Fprintf(w, `<path d="M%g %.1fH%g" stroke="#dddddd"/>`+"\n", left, y(v), right)
		say(w, left-6, y(v)+4, "end", `fill="#444444"`, text(v))
	}
	lowest, highest := float64(d.from-d.zero)/float64(d.step), float64(d.to-d.zero)/float64(d.step)
	for _, v := range ticks(lowest, highest, 10) {
		fmt.Fprintf(w, `<path d="M%.1f %.1fv%g" stroke="#eeeeee"/>`+"\n", d.x(d.zero+int64(v*float64(d.step))), top, p.height)
	}
	fmt.Fprintf(w, `<path d="M%g %.1fH%gv%g" fill="none" stroke="#888888"/>`+"\n", left, top+p.height, right, -p.height)
	var names []name
	for _, l := range p.levels {
		if l.label == "" {
			fmt.Fprintf(w, `<path d="M%g %.1fH%g" stroke="#888888"/>`+"\n", left, y(l.value), right)
			continue
		}
		fmt.Fprintf(w, `<path d="M%g %.1fH%g" %s/>`+"\n", left, y(l.value), right, strokes[dashed])
		say(w, left+6, y(l.value)-4, "start", `font-size="12" fill="#aa1155"`, l.label)
	}
	for k := len(p.curves) - 1; k >= 0; k-- { // the first on top
		c := &p.curves[k]
		if n, ok := d.curve(w, c, y); ok {
			names = append(names, n)
		}
	}
	spread(names, top, top+p.height)
	for _, n := range names {
		fmt.Fprintf(w, `<path d="M%g %.1fL%g %.1fh14" fill="none" %s/>`+"\n", right, n.from, right+6, n.y, strokes[n.stroke])
		say(w, right+24, n.y+4, "start", `font-size="12"`, n.text)
	}
}

func say(w *bytes.Buffer, x, y float64, anchor, how, s string) {
	fmt.Fprintf(w, `<text x="%.1f" y="%.1f" text-anchor="%s" %s>%s</text>`+"\n", x, y, anchor, how, escaped(s))
}

func escaped(s string) []byte {
	var w bytes.Buffer
	_ = xml.EscapeText(&w, []byte(s)) // a buffer takes all
	return w.Bytes()
}
