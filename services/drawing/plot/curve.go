package plot

import (
	"cmp"
	"math"
	"slices"
)

// The strokes of curves: heavy for what a figure is about, then others told apart by
// their dashes as well as their colour. The colours are after those of Okabe and
// Ito (2008), from memory, chosen to be told apart by those who see few; darker, to
// be read on white.
func strokes() [5]Stroke {
	return [...]Stroke{
		{"#000000", 2.2, nil},
		{"#0072b2", 1.4, []float64{9, 3}},
		{"#b34700", 1.4, []float64{2, 3}},
		{"#007a5a", 1.4, []float64{9, 3, 2, 3}},
		{"#aa1155", 1.4, []float64{5, 4}},
	}
}

// Heavy is the stroke of what a figure is about, Other that of the k-th other curve,
// from 1 to 3, Dashed that of limits and thresholds.
func Heavy() Stroke      { return strokes()[0] }
func Other(k int) Stroke { return strokes()[1+(k-1)%3] }
func Dashed() Stroke     { return strokes()[4] }

// Curve is values over time.
type Curve struct {
	Label  string
	Stroke Stroke
	Times  []int64   // Unix nanoseconds, rising
	Values []float64 // NaN where not known
}

// Add appends a value.
func (c *Curve) Add(at int64, v float64) {
	c.Times, c.Values = append(c.Times, at), append(c.Values, v)
}

// Band is the range of values over time.
type Band struct {
	Label  string
	Fill   Colour
	Times  []int64
	Lo, Hi []float64 // NaN where not known
}

// known reports whether v is a number to draw.
func known(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// apart is the least distance between two names.
const apart = 14.0

// name is the name of a curve beside its end.
type name struct {
	text    string
	stroke  Stroke
	from, y float64 // where the curve ends, where the name stands
}

// spread keeps names apart and within top and bottom, as near their curves as
// that allows.
func spread(names []name, top, bottom float64) {
	slices.SortStableFunc(names, func(a, b name) int { return cmp.Compare(a.y, b.y) })
	for k := range names {
		names[k].y = max(names[k].y, top+apart/2)
		if k > 0 {
			names[k].y = max(names[k].y, names[k-1].y+apart)
		}
	}
	for k := len(names) - 1; k >= 0; k-- {
		most := bottom - apart/2
		if k < len(names)-1 {
			most = names[k+1].y - apart
		}
		names[k].y = min(names[k].y, most)
	}
}

// curve draws a curve, broken where nothing is known for four times the usual,
// and a dot where a value stands alone. ok is false where there is nothing to
// draw.
func (f *Figure) curve(c Canvas, v *Curve, y func(float64) float64) (n name, ok bool) {
	gap := max(4*usual(v.Times), 3*(f.To-f.From)/int64(f.Right-f.Left))
	times, values := f.cut(v.Times, v.Values, gap)
	times, values = thin(times, values, (f.To-f.From)/int64(f.Right-f.Left))
	var run []Point
	for k, x := range values {
		if !known(x) {
			continue
		}
		at := Point{f.x(times[k]), y(x)}
		before := k > 0 && known(values[k-1]) && times[k]-times[k-1] <= gap
		behind := k+1 < len(values) && known(values[k+1]) && times[k+1]-times[k] <= gap
		if !before {
			c.Path(run, v.Stroke)
			run = run[:0]
		}
		if !before && !behind {
			c.Ring(at, 3.5, v.Stroke)
		}
		run = append(run, at)
		n, ok = name{v.Label, v.Stroke, at.Y, at.Y}, true
	}
	c.Path(run, v.Stroke)
	return n, ok
}

// band fills between the least and the greatest, with gaps as a curve has.
func (f *Figure) band(c Canvas, b *Band, y func(float64) float64) {
	gap := max(4*usual(b.Times), 3*(f.To-f.From)/int64(f.Right-f.Left))
	times, lo := f.cut(b.Times, b.Lo, gap)
	_, hi := f.cut(b.Times, b.Hi, gap)
	var over, under []Point
	flush := func() {
		slices.Reverse(under)
		c.Area(append(over, under...), b.Fill)
		over, under = nil, nil
	}
	for k, t := range times {
		if k > 0 && t-times[k-1] > gap || !known(lo[k]) || !known(hi[k]) {
			flush()
		}
		if known(lo[k]) && known(hi[k]) {
			over, under = append(over, Point{f.x(t), y(hi[k])}), append(under, Point{f.x(t), y(lo[k])})
		}
	}
	flush()
}

// cut is what of values over time lies within the figure, up to its edges where two that
// are no further apart than gap lie on either side of one.
func (f *Figure) cut(times []int64, values []float64, gap int64) (t []int64, v []float64) {
	at := func(edge int64, k int) { // between k−1 and k
		if k > 0 && k < len(times) && times[k-1] < edge && edge < times[k] && times[k]-times[k-1] <= gap {
			share := float64(edge-times[k-1]) / float64(times[k]-times[k-1])
			t, v = append(t, edge), append(v, values[k-1]+share*(values[k]-values[k-1]))
		}
	}
	from, _ := slices.BinarySearch(times, f.From)
	to, _ := slices.BinarySearch(times, f.To+1)
	if from == 0 && to == len(times) {
		return times, values
	}
	at(f.From, from)
	t, v = append(t, times[from:to]...), append(v, values[from:to]...)
	at(f.To, to)
	return t, v
}

// usual is the middling time between values, ns.
func usual(times []int64) int64 {
	if len(times) < 2 {
		return 0
	}
	apart := make([]int64, len(times)-1)
	for k := range apart {
		apart[k] = times[k+1] - times[k]
	}
	slices.Sort(apart)
	return apart[len(apart)/2]
}

// thin keeps of each span of time the first, least and greatest value, so that
// a long curve stays small and no spike is lost.
func thin(times []int64, values []float64, span int64) (t []int64, v []float64) {
	if span <= 0 || len(times) < 2000 {
		return times, values
	}
	for from := 0; from < len(times); {
		to, lo, hi := from, from, from
		for ; to < len(times) && times[to]/span == times[from]/span; to++ {
			if values[to] < values[lo] || math.IsNaN(values[lo]) {
				lo = to
			}
			if values[to] > values[hi] || math.IsNaN(values[hi]) {
				hi = to
			}
		}
		keep := []int{from, lo, hi}
		slices.Sort(keep)
		for _, k := range slices.Compact(keep) {
			t, v = append(t, times[k]), append(v, values[k])
		}
		from = to
	}
	return t, v
}
