package evidence

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"slices"
)

// The strokes of curves: heavy for the line concerned, then others told apart by
// their dashes as well as their colour. The colours are after those of Okabe and
// Ito (2008), from memory, chosen to be told apart by those who see few; darker, to
// be read on white.
const (
	heavy  = 0
	dashed = 4
)

var strokes = [...]string{
	heavy:  `stroke="#000000" stroke-width="2.2"`,
	1:      `stroke="#0072b2" stroke-width="1.4" stroke-dasharray="9 3"`,
	2:      `stroke="#b34700" stroke-width="1.4" stroke-dasharray="2 3"`,
	3:      `stroke="#007a5a" stroke-width="1.4" stroke-dasharray="9 3 2 3"`,
	dashed: `stroke="#aa1155" stroke-width="1.4" stroke-dasharray="5 4"`,
}

// curve is values over time.
type curve struct {
	label  string
	stroke int
	times  []int64
	values []float64 // NaN where not known
}

func (c *curve) add(at int64, v float64) {
	c.times, c.values = append(c.times, at), append(c.values, v)
}

// known reports whether v is a number to draw.
func known(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// name is the name of a curve beside its end.
type name struct {
	text    string
	stroke  int
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
func (d *drawing) curve(w *bytes.Buffer, c *curve, y func(float64) float64) (n name, ok bool) {
	times, values := thin(c.times, c.values, (d.to-d.from)/int64(right-left))
	gap := max(4*usual(c.times), 3*(d.to-d.from)/int64(right-left))
	var path bytes.Buffer
	alone := []int{}
	for k, v := range values {
		if !known(v) {
			continue
		}
		before := k > 0 && known(values[k-1]) && times[k]-times[k-1] <= gap
		behind := k+1 < len(values) && known(values[k+1]) && times[k+1]-times[k] <= gap
		switch {
		case before:
			fmt.Fprintf(&path, "L%.1f %.1f", d.x(times[k]), y(v))
		case behind:
			fmt.Fprintf(&path, "M%.1f %.1f", d.x(times[k]), y(v))
		default:
			alone = append(alone, k)
		}
		n, ok = name{c.label, c.stroke, y(v), y(v)}, true
	}
	if path.Len() > 0 {
		fmt.Fprintf(w, `<path d="%s" fill="none" stroke-linejoin="round" %s/>`+"\n", path.Bytes(), strokes[c.stroke])
	}
	for _, k := range alone {
		fmt.Fprintf(w, `<circle cx="%.1f" cy="%.1f" r="3.5" fill="none" %s/>`+"\n", d.x(times[k]), y(values[k]), strokes[c.stroke])
	}
	return n, ok
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
