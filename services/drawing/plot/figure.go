package plot

import (
	"fmt"
	"math"
	"time"
)

// Figure is panels one under another over one axis of time.
type Figure struct {
	Left, Right float64 // of the axes; what is to the right of them names the curves
	From, To    int64   // Unix nanoseconds
	// Zone is whose clock the axis tells; nil where it counts from Zero in Unit, of
	// Step nanoseconds each.
	Zone   *time.Location
	Zero   int64
	Step   int64
	Unit   string // beside the axis
	Marks  []Mark
	Panels []Panel
	Small  float64 // size of small text; 0 is 12
}

// Mark is a moment with a name.
type Mark struct {
	At   int64
	Name string
}

// Panel is one set of axes.
type Panel struct {
	Title  string
	Height float64
	Least  float64 // least span of the axis
	Whole  bool    // the axis begins at 0
	// Lo and Hi are the ends of the axis where Hi is above Lo; else what the values
	// need.
	Lo, Hi float64
	Bands  []Band
	Curves []Curve
	Levels []Level
	// Gaps are times shaded through, as without readings.
	Gaps []Span
}

// Span is a time from and to, Unix nanoseconds.
type Span struct{ From, To int64 }

// Level is a value that stands; without a label it is a thin line.
type Level struct {
	Value float64
	Label string
}

// Limit shows a limit: as a level where the curves come anywhere near it, else in
// words.
func (p *Panel) Limit(v float64, name string) {
	_, hi := p.span()
	name = fmt.Sprintf("%s %s", name, Number(v))
	if v > 2.5*hi {
		p.Title += "; " + name + ", beyond the axis"
		return
	}
	p.Levels = append(p.Levels, Level{v, name})
}

// span is the range of a panel's values, with some room.
func (p *Panel) span() (lo, hi float64) {
	if p.Hi > p.Lo {
		return p.Lo, p.Hi
	}
	lo, hi = math.Inf(1), math.Inf(-1)
	take := func(v float64) {
		if known(v) {
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	for _, c := range p.Curves {
		for _, v := range c.Values {
			take(v)
		}
	}
	for _, b := range p.Bands {
		for k := range b.Lo {
			take(b.Lo[k])
			take(b.Hi[k])
		}
	}
	for _, l := range p.Levels {
		take(l.Value)
	}
	if lo > hi {
		return 0, 1
	}
	if lo > 0 && (p.Whole || lo < hi/2) {
		lo = 0
	}
	room := max(0.06*(hi-lo), (p.Least-(hi-lo))/2, 1e-6*max(math.Abs(hi), 1))
	if lo != 0 {
		lo -= room
	}
	return lo, hi + room
}

const (
	panelHead = 24.0 // over a panel, for its title
	panelGap  = 12.0
	axisFoot  = 26.0 // under the last panel, for its times
	markHead  = 14.0 // over the first, for the name of a mark
	markMore  = 10.0 // and for those of more
)

// Height is how much of the sheet the figure takes.
func (f *Figure) Height() float64 {
	high := axisFoot - panelGap
	high += f.markHigh()
	for _, p := range f.Panels {
		high += panelHead + p.Height + panelGap
	}
	return high
}

// markHigh is the room for the names of marks.
func (f *Figure) markHigh() float64 {
	switch len(f.Marks) {
	case 0:
		return 0
	case 1:
		return markHead
	}
	return markHead + markMore
}

func (f *Figure) x(t int64) float64 {
	return f.Left + (f.Right-f.Left)*float64(t-f.From)/float64(max(f.To-f.From, 1))
}

func (f *Figure) small() float64 { return orElse(f.Small, 12) }

const (
	axisInk  = Colour("#444444")
	gridInk  = Colour("#dddddd")
	faintInk = Colour("#eeeeee")
	frameInk = Colour("#888888")
	gapInk   = Colour("#e9e6df")
)

// Draw draws the figure from a height down, and returns where it ends.
func (f *Figure) Draw(c Canvas, top float64) (bottom float64) {
	y := top + f.markHigh()
	first := y
	at := f.times()
	for k := range f.Panels {
		p := &f.Panels[k]
		c.Words(Point{f.Left, y + panelHead - 8}, Ink{Size: f.small() + 1, Bold: true}, p.Title)
		f.panel(c, p, y+panelHead, at)
		y += panelHead + p.Height + panelGap
	}
	bottom = y - panelGap
	f.moments(c, first)
	for _, t := range at {
		c.Words(Point{f.x(t.at), bottom + f.small() + 4}, Ink{Size: f.small(), Colour: axisInk, Anchor: Middle, Bold: t.day}, t.name)
	}
	c.Words(Point{f.Right + 30, bottom + f.small() + 4}, Ink{Size: f.small(), Colour: axisInk}, f.Unit)
	return top + f.Height()
}

// times are the places on the axis that have a name.
func (f *Figure) times() (out []moment) {
	n := int((f.Right - f.Left) / 55)
	if f.Zone != nil {
		return clock(f.From, f.To, f.Zone, n)
	}
	lo, hi := float64(f.From-f.Zero)/float64(f.Step), float64(f.To-f.Zero)/float64(f.Step)
	for _, v := range ticks(lo, hi, min(10, n)) {
		out = append(out, moment{at: f.Zero + int64(v*float64(f.Step)), name: Number(v)})
	}
	return out
}

// moments draws the marks in all panels, their names over the first, one to the
// left and one to the right so that they do not meet.
func (f *Figure) moments(c Canvas, top float64) {
	for k, m := range f.Marks {
		x, anchor, off := f.x(m.At), Start, 4.0
		if k > 0 {
			anchor, off = End, -4
		}
		if x-f.Left < 130 {
			anchor, off = Start, 4
		}
		s := Stroke{Colour: "#111111", Width: 1}
		if k > 0 {
			s.Dash = []float64{3, 3}
		}
		c.Path([]Point{{x, top - 12}, {x, top + 2}}, s)
		y := top
		for _, p := range f.Panels { // not through their titles
			c.Path([]Point{{x, y + panelHead}, {x, y + panelHead + p.Height}}, s)
			y += panelHead + p.Height + panelGap
		}
		c.Words(Point{x + off, top - 4 - 9*float64(k%2)}, Ink{Size: f.small(), Anchor: anchor}, m.Name)
	}
}

// panel draws one panel whose axes begin at a height.
func (f *Figure) panel(c Canvas, p *Panel, top float64, times []moment) {
	lo, hi := p.span()
	bottom := top + p.Height
	y := func(v float64) float64 { return top + p.Height*(hi-v)/(hi-lo) }
	for _, g := range p.Gaps {
		a, b := f.x(max(g.From, f.From)), f.x(min(g.To, f.To))
		if b = max(b, a+1); a < f.Right && b > f.Left {
			c.Area([]Point{{a, top}, {b, top}, {b, bottom}, {a, bottom}}, gapInk)
		}
	}
	for k := range p.Bands {
		f.band(c, &p.Bands[k], y)
	}
	for _, v := range ticks(lo, hi, min(10, max(2, int(p.Height/20)))) {
		c.Path([]Point{{f.Left, y(v)}, {f.Right, y(v)}}, Stroke{Colour: gridInk, Width: 1})
		c.Words(Point{f.Left - 6, y(v) + 4}, Ink{Size: f.small(), Colour: axisInk, Anchor: End}, Number(v))
	}
	for _, t := range times {
		s := Stroke{Colour: faintInk, Width: 1}
		if t.day {
			s.Colour = gridInk
		}
		c.Path([]Point{{f.x(t.at), top}, {f.x(t.at), bottom}}, s)
	}
	c.Path([]Point{{f.Left, bottom}, {f.Right, bottom}, {f.Right, top}}, Stroke{Colour: frameInk, Width: 1})
	var names []name
	for _, l := range p.Levels {
		s := Stroke{Colour: frameInk, Width: 1}
		if l.Label != "" {
			s = Dashed()
		}
		c.Path([]Point{{f.Left, y(l.Value)}, {f.Right, y(l.Value)}}, s)
	}
	for k := len(p.Curves) - 1; k >= 0; k-- { // the first on top
		if n, ok := f.curve(c, &p.Curves[k], y); ok && n.text != "" {
			names = append(names, n)
		}
	}
	for _, l := range p.Levels {
		if l.Label != "" {
			foot := y(l.Value) - 4
			if foot-f.small() < top { // not into the title
				foot = y(l.Value) + f.small() + 1
			}
			c.Words(Point{f.Left + 6, foot}, Ink{Size: f.small(), Colour: Dashed().Colour, Halo: true}, l.Label)
		}
	}
	spread(names, top, bottom)
	for _, n := range names {
		c.Path([]Point{{f.Right, n.from}, {f.Right + 6, n.y}, {f.Right + 20, n.y}}, n.stroke)
		c.Words(Point{f.Right + 24, n.y + 4}, Ink{Size: f.small()}, n.text)
	}
}
