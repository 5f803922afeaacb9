package drawing

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"hawser/detect/assess"
	"hawser/detect/mooring"
)

const weatherStyle = `
.ship{fill:#e3e7ea;stroke:#1c2733;stroke-width:1.5}
.quay{stroke:#8a8577;stroke-width:5}
.working{stroke:#39708f;stroke-width:4;fill:none;stroke-linejoin:round}
.brake{stroke:#a36a00;stroke-width:2.5;fill:none;stroke-dasharray:10 5;stroke-linejoin:round}
.fails{stroke:#b3261e;stroke-width:2.5;fill:none;stroke-dasharray:2 5;stroke-linecap:round;stroke-linejoin:round}
.mark{fill:#1c2733;stroke:#fbfaf7;stroke-width:1.5}
.weak{fill:#fbfaf7;stroke:#1c2733;stroke-width:2}
`

const msPerKnot = 1852.0 / 3600

// Weather is the limits of steady wind about the compass, north up: the further
// out, the more wind the mooring takes. Where a curve has a gap the limit is not
// reached by any wind looked at. The wind now is a mark on it.
func Weather(p *mooring.Plan, limits []assess.WindLimit, now Wind) []byte {
	weakest := slices.MinFunc(limits, func(a, b assess.WindLimit) int { return cmp.Compare(a.Working.SpeedMS, b.Working.SpeedMS) })
	words := "No wind looked at brings a line to its working load limit."
	switch {
	case weakest.Working.SpeedMS == 0:
		words = "A line is at its working load limit without wind."
	case weakest.Working.Line >= 0:
		words = fmt.Sprintf("Weakest from %03.0f: line %s at its working load limit in %.0f kn.", weakest.FromDeg,
			p.Lines[weakest.Working.Line].ID, weakest.Working.SpeedMS/msPerKnot)
	}
	s := newSheet(1000, 900, "Limits of wind, "+p.Ship.Name+" at "+p.Berth, words, weatherStyle)
	s.text(28, 66, "small", "Steady wind at 10 m, knots, by the direction it comes from. "+words)
	r := &rose{sheet: s, x: 430, y: 475, most: reach(limits, now)}
	r.rings()
	r.ship(p)
	for _, c := range curves {
		r.curve(limits, c.of, c.class)
	}
	if weakest.Working.Line >= 0 && weakest.Working.SpeedMS > 0 {
		x, y := r.at(weakest.FromDeg, weakest.Working.SpeedMS/msPerKnot)
		r.circle(x, y, 7, "weak")
	}
	if now.Knots > 0 {
		x, y := r.at(now.FromDeg, now.Knots)
		r.put(`<path d="M%.1f %.1fl9 9l-9 9l-9 -9z" class="mark"/>`, x, y-9)
		r.text(x+14, y+5, "strong halo", fmt.Sprintf("now %.0f kn", now.Knots))
	}
	r.key(now, limits)
	return s.done()
}

// curves are the limits drawn, the outermost first.
var curves = [...]struct {
	class, text string
	of          func(*assess.WindLimit) assess.Threshold
}{
	{"fails", "the mooring fails", func(w *assess.WindLimit) assess.Threshold { return w.Fails }},
	{"brake", "first brake renders", func(w *assess.WindLimit) assess.Threshold { return w.Brake }},
	{"working", "first line at its working load limit", func(w *assess.WindLimit) assess.Threshold { return w.Working }},
}

// reach is the wind at the rim, knots: all limits and the wind now, in rings of
// twenty.
func reach(limits []assess.WindLimit, now Wind) float64 {
	most := max(40, now.Knots)
	for i := range limits {
		for _, c := range curves {
			if v := c.of(&limits[i]).SpeedMS / msPerKnot; !math.IsInf(v, 1) {
				most = max(most, v)
			}
		}
	}
	return 20 * math.Ceil(most/20)
}

// rose is a compass card with winds as distances.
type rose struct {
	*sheet
	x, y float64
	most float64 // knots at the rim
}

const rim = 340.0

func (r *rose) at(bearing, knots float64) (x, y float64) {
	sin, cos := math.Sincos(bearing * math.Pi / 180)
	d := rim * knots / r.most
	return r.x + d*sin, r.y - d*cos
}

func (r *rose) rings() {
	for k := 20.0; k <= r.most; k += 20 {
		r.circle(r.x, r.y, rim*k/r.most, "grid")
	}
	for b := 0.0; b < 360; b += 30 {
		x1, y1 := r.at(b, 20)
		x2, y2 := r.at(b, r.most)
		r.sheet.line(x1, y1, x2, y2, "grid")
		x, y := r.at(b, r.most*1.06)
		name := fmt.Sprintf("%03.0f", b)
		if i := int(b) / 90; int(b)%90 == 0 {
			name = [...]string{"N", "E", "S", "W"}[i]
		}
		r.text(x, y+5, "mid", name)
	}
}

// ship is a small ship at the centre as she lies, the quay along her side.
func (r *rose) ship(p *mooring.Plan) {
	sin, cos := math.Sincos(p.HeadingDeg * math.Pi / 180)
	at := func(ahead, toStarboard float64) [2]float64 {
		return [2]float64{r.x + ahead*sin + toStarboard*cos, r.y - ahead*cos + toStarboard*sin}
	}
	side := 1.0
	if p.Side == mooring.Port {
		side = -1
	}
	a, b := at(-44, side*15), at(44, side*15)
	r.sheet.line(a[0], a[1], b[0], b[1], "quay")
	r.path([][2]float64{at(-38, -9), at(14, -9), at(30, -5), at(40, 0), at(30, 5), at(14, 9), at(-38, 9)}, "ship", true)
}

// curve draws a limit where it is reached, with gaps where it is not.
func (r *rose) curve(limits []assess.WindLimit, of func(*assess.WindLimit) assess.Threshold, class string) {
	n := len(limits)
	start := -1 // a direction without the limit, so that no run is cut at north
	for i := range limits {
		if math.IsInf(of(&limits[i]).SpeedMS, 1) {
			start = i
		}
	}
	var run [][2]float64
	for k := 1; k <= n; k++ {
		w := &limits[(start+k)%n]
		if t := of(w); !math.IsInf(t.SpeedMS, 1) {
			x, y := r.at(w.FromDeg, t.SpeedMS/msPerKnot)
			run = append(run, [2]float64{x, y})
			continue
		}
		r.path(run, class, false)
		run = nil
	}
	r.path(run, class, start < 0)
}

func (r *rose) key(now Wind, limits []assess.WindLimit) {
	// The rings are named where the curves are furthest out or have a gap.
	strongest := slices.MaxFunc(limits, func(a, b assess.WindLimit) int { return cmp.Compare(a.Working.SpeedMS, b.Working.SpeedMS) })
	for k := 20.0; k <= r.most; k += 20 {
		x, y := r.at(strongest.FromDeg+5, k)
		r.text(x, y+4, "small mid halo", fmt.Sprintf("%.0f", k))
	}
	x, y := 826.0, 150.0
	for i := len(curves) - 1; i >= 0; i-- {
		r.sheet.line(x, y, x+48, y, curves[i].class)
		r.wrapped(x, y+20, curves[i].text)
		y += 70
	}
	r.circle(x+8, y, 7, "weak")
	r.text(x+26, y+5, "small", "weakest direction")
	if now.Knots > 0 {
		r.put(`<path d="M%.1f %.1fl9 9l-9 9l-9 -9z" class="mark"/>`, x+8, y+25)
		r.text(x+26, y+39, "small", "the wind now")
	}
	r.text(x, y+80, "small", "A gap: not reached up")
	r.text(x, y+97, "small", fmt.Sprintf("to %.0f kn.", assess.CeilingMS/msPerKnot))
}

// wrapped writes a text in two lines where it is long.
func (r *rose) wrapped(x, y float64, text string) {
	const long = 22
	if len(text) > long {
		for i := long; i > 0; i-- {
			if text[i] == ' ' {
				r.text(x, y, "small", text[:i])
				r.text(x, y+17, "small", text[i+1:])
				return
			}
		}
	}
	r.text(x, y, "small", text)
}
