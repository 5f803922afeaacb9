package drawing

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"hawser/detect/assess"
	"hawser/detect/mooring"
)

const mooringStyle = `
.hull{fill:#e3e7ea;stroke:#1c2733;stroke-width:2}
.face{stroke:#8a8577;stroke-width:1.5;stroke-dasharray:2 5}
.fender{fill:#8a8577}
.hook{fill:#1c2733}
.below{stroke:#39708f;fill:none}
.approaching{stroke:#a36a00;fill:none;stroke-dasharray:16 5}
.over{stroke:#b3261e;fill:none;stroke-dasharray:9 4}
.core{stroke:#fbfaf7;stroke-width:1.6;fill:none}
.wind{fill:#1c2733}
`

// Wind is a wind to draw an arrow for.
type Wind struct{ Knots, FromDeg float64 }

// Mooring is the mooring from above, to scale: ship, fenders, hooks, and each
// line with its load. A line is as thick as its share of MBL, dashed where it
// comes near a limit, hollow where it is over one.
func Mooring(m *assess.Mooring, state *assess.State, wind Wind) []byte {
	p := m.Plan()
	worst := m.Worst(state)
	title := fmt.Sprintf("%s at %s", p.Ship.Name, p.Berth)
	words := fmt.Sprintf("The mooring from above with the load of each of %d lines; the worst is line %s at %.0f kN.",
		len(p.Lines), p.Lines[worst].ID, state.TensionKN[worst])
	v := newView(p)
	d := &moored{sheet: newSheet(1200, v.height, title, words, mooringStyle), view: v, m: m, plan: p, state: state}
	d.berth()
	d.hull()
	d.lines()
	d.labels()
	d.legend(wind)
	return d.done()
}

// view is the way from the plan's metres to the sheet. Seen from above with the
// bow to the right, +y is up with the starboard side alongside, down with port.
type view struct {
	scale, x0, y0, height float64
	up                    float64 // -1 where +y goes up the sheet
}

func newView(p *mooring.Plan) view {
	cx, _ := p.Centre()
	loX, hiX := cx-p.Ship.LoaM/2, cx+p.Ship.LoaM/2
	loY, hiY := 0.0, p.Ship.BeamM
	for i := range p.Lines {
		h := p.Lines[i].Hook
		loX, hiX = min(loX, h.X), max(hiX, h.X)
		loY, hiY = min(loY, h.Y), max(hiY, h.Y)
	}
	const (
		side   = 110
		head   = 130 // title and compass
		foot   = 100 // key and caution
		labels = 100 // a list of loads beyond the hooks
	)
	v := view{scale: (1200 - 2*side) / (hiX - loX), up: -1}
	v.x0 = side - v.scale*loX
	if p.Side == mooring.Port {
		v.up = 1
		v.y0 = head + labels - v.scale*loY
	} else {
		v.y0 = head + v.scale*hiY
	}
	v.height = head + labels + foot + v.scale*(hiY-loY)
	return v
}

func (v *view) at(x, y float64) (float64, float64) { return v.x0 + v.scale*x, v.y0 + v.up*v.scale*y }

type moored struct {
	*sheet
	view
	m     *assess.Mooring
	plan  *mooring.Plan
	state *assess.State
}

// berth draws the fender face and the fenders.
func (d *moored) berth() {
	_, y := d.at(0, 0)
	d.sheet.line(40, y, d.w-40, y, "face")
	for i := range d.plan.Fenders {
		x, y := d.at(d.plan.Fenders[i].XM, 0)
		h := max(1.2*d.scale, 7)
		if d.up > 0 { // the quay is above
			y -= h
		}
		d.put(`<rect x="%.1f" y="%.1f" width="8" height="%.1f" class="fender"/>`, x-4, y, h)
	}
}

// hull is the ship's outline where she lies: a plain shape, bow to +x.
func (d *moored) hull() {
	cx, cy := d.plan.Centre()
	l, b := d.plan.Ship.LoaM/2, d.plan.Ship.BeamM/2
	bow := min(1.6*2*b, 0.5*l)
	var points [][2]float64
	add := func(x, y float64) {
		sin, cos := math.Sincos(d.state.Pose.YawRad)
		px, py := d.at(cx+d.state.Pose.SurgeM+cos*x-sin*y, cy+d.state.Pose.SwayM+sin*x+cos*y)
		points = append(points, [2]float64{px, py})
	}
	add(-l, -0.8*b)
	add(-l+0.4*b, -b)
	for k := 0; k <= 12; k++ { // along the starboard or port bow to the stem
		t := float64(k) / 12
		add(l-bow+bow*math.Sin(t*math.Pi/2), -b*math.Pow(math.Cos(t*math.Pi/2), 0.8))
	}
	for k := 11; k >= 0; k-- {
		t := float64(k) / 12
		add(l-bow+bow*math.Sin(t*math.Pi/2), b*math.Pow(math.Cos(t*math.Pi/2), 0.8))
	}
	add(-l+0.4*b, b)
	add(-l, 0.8*b)
	d.path(points, "hull", true)
}

// fairlead is where line i leaves the ship as she lies.
func (d *moored) fairlead(i int) (x, y float64) {
	cx, cy := d.plan.Centre()
	f := d.plan.Lines[i].Fairlead
	sin, cos := math.Sincos(d.state.Pose.YawRad)
	return d.at(cx+d.state.Pose.SurgeM+cos*(f.X-cx)-sin*(f.Y-cy), cy+d.state.Pose.SwayM+sin*(f.X-cx)+cos*(f.Y-cy))
}

// width is a line's thickness on paper for a share of its MBL.
func width(share float64) float64 { return min(1.5+14*share, 12) }

func (d *moored) lines() {
	for i, kN := range d.state.TensionKN {
		x1, y1 := d.fairlead(i)
		x2, y2 := d.at(d.plan.Lines[i].Hook.X, d.plan.Lines[i].Hook.Y)
		w := width(d.m.Share(d.state, i))
		limit := d.m.Limit(i, kN)
		d.put(`<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="%s" stroke-width="%.1f"/>`, x1, y1, x2, y2, limitClass(limit), w)
		if limit >= assess.WorkingLoad {
			d.sheet.line(x1, y1, x2, y2, "core")
		}
		d.circle(x1, y1, 2.5, "hook")
		d.circle(x2, y2, 4, "hook")
	}
}

func limitClass(l assess.Limit) string {
	switch {
	case l >= assess.WorkingLoad:
		return "over"
	case l == assess.Approaching:
		return "approaching"
	}
	return "below"
}

// block is the labels of hooks that stand close together.
type block struct {
	lines []int
	x, y  float64 // of the hooks, on the sheet
}

const (
	labelHeight = 17.0
	letterWidth = 7.9 // the widest a label's letters come to on average
)

// labels writes each line's number and load beyond its hook, away from the ship;
// hooks close together share a list, and lists that would meet are moved on.
func (d *moored) labels() {
	type box struct{ x0, y0, x1, y1 float64 }
	var boxes []box
	for _, b := range d.blocks() {
		out := -d.up // sign on the sheet of the way from the quay to the water is up
		h := labelHeight * float64(len(b.lines))
		w := 0.0
		for _, i := range b.lines {
			w = max(w, letterWidth*float64(len(d.label(i))))
		}
		x := min(max(b.x-w/2, 12), d.w-w-12)
		y := b.y + 16
		if out < 0 { // port side alongside: the quay is at the top
			y = b.y - h - 12
		}
		free := func() bool {
			return !slices.ContainsFunc(boxes, func(o box) bool {
				return x < o.x1 && o.x0 < x+w && y < o.y1 && o.y0 < y+h
			})
		}
		for range 12 {
			if free() {
				break
			}
			y += out * labelHeight
		}
		boxes = append(boxes, box{x, y, x + w, y + h})
		for k, i := range b.lines {
			d.text(x, y+labelHeight*(float64(k)+0.75), "small halo"+strong(d.m.Limit(i, d.state.TensionKN[i])), d.label(i))
		}
	}
}

func strong(l assess.Limit) string {
	if l > assess.Below {
		return " strong"
	}
	return ""
}

func (d *moored) label(i int) string {
	kN := d.state.TensionKN[i]
	text := fmt.Sprintf("%s: %.0f kN, %.0f %%", d.plan.Lines[i].ID, kN, 100*d.m.Share(d.state, i))
	switch l := d.m.Limit(i, kN); {
	case l == assess.Breaking:
		text += " BREAKS"
	case l == assess.Brake:
		text += " OVER, renders"
	case l == assess.WorkingLoad:
		text += " OVER"
	case l == assess.Approaching:
		text += " near"
	}
	return text
}

// blocks gathers lines whose hooks are near each other, from left to right.
func (d *moored) blocks() []block {
	order := make([]int, len(d.plan.Lines))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(d.plan.Lines[a].Hook.X, d.plan.Lines[b].Hook.X) })
	var out []block
	const near = 46 // on the sheet
	for _, i := range order {
		x, y := d.at(d.plan.Lines[i].Hook.X, d.plan.Lines[i].Hook.Y)
		if n := len(out); n > 0 && math.Abs(out[n-1].x-x) < near && math.Abs(out[n-1].y-y) < near {
			out[n-1].lines = append(out[n-1].lines, i)
			continue
		}
		out = append(out, block{[]int{i}, x, y})
	}
	for k := range out {
		slices.Sort(out[k].lines)
	}
	return out
}

// legend is the compass, the wind, the scale and the key.
func (d *moored) legend(wind Wind) {
	d.compass(1110, 92, wind)
	long := niceLength(200 / d.scale)
	x, y := 40.0, d.h-52
	d.sheet.line(x, y, x+long*d.scale, y, "axis")
	d.sheet.line(x, y-5, x, y+5, "axis")
	d.sheet.line(x+long*d.scale, y-5, x+long*d.scale, y+5, "axis")
	d.text(x+long*d.scale+10, y+5, "small", fmt.Sprintf("%.0f m", long))
	x = 420
	for _, k := range []struct {
		limit assess.Limit
		text  string
	}{
		{assess.Below, "below its limit"},
		{assess.Approaching, "near: the watch warns"},
		{assess.WorkingLoad, "OVER its working load limit"},
	} {
		d.put(`<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="%s" stroke-width="6"/>`, x, y, x+56, y, limitClass(k.limit))
		if k.limit >= assess.WorkingLoad {
			d.sheet.line(x, y, x+56, y, "core")
		}
		d.text(x+66, y+5, "small", k.text)
		x += 96 + 8*float64(len(k.text))
	}
	worst := d.m.Worst(d.state)
	d.text(28, 64, "small", fmt.Sprintf("Seen from above, to scale. Thickness is share of breaking load (MBL). The worst is line %s at %.0f kN.",
		d.plan.Lines[worst].ID, d.state.TensionKN[worst]))
}

// compass shows north, and the wind as an arrow that blows.
func (d *moored) compass(x, y float64, wind Wind) {
	// A bearing on the sheet: +x points right and bears the berth's heading; seen
	// from above bearings turn clockwise.
	way := func(bearing float64) (dx, dy float64) {
		a := (bearing - d.plan.HeadingDeg) * math.Pi / 180
		return math.Cos(a), math.Sin(a)
	}
	d.circle(x, y, 44, "grid")
	nx, ny := way(0)
	d.sheet.line(x+26*nx, y+26*ny, x+44*nx, y+44*ny, "axis")
	d.text(x+56*nx, y+56*ny+5, "mid strong", "N")
	if wind.Knots <= 0 {
		return
	}
	fx, fy := way(wind.FromDeg)
	d.path([][2]float64{
		{x - 40*fx, y - 40*fy},
		{x + 24*fx - 9*fy, y + 24*fy + 9*fx},
		{x + 14*fx, y + 14*fy},
		{x + 24*fx + 9*fy, y + 24*fy - 9*fx},
	}, "wind", true)
	d.text(x-70, y+5, "end", fmt.Sprintf("wind %.0f kn from %03.0f", wind.Knots, wind.FromDeg))
}

// niceLength is the largest of 1, 2, 5, 10, … not over a length.
func niceLength(most float64) float64 {
	base := math.Pow(10, math.Floor(math.Log10(most)))
	for _, k := range []float64{5, 2} {
		if k*base <= most {
			return k * base
		}
	}
	return base
}
