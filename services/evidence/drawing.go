package evidence

import "hawser/services/drawing/plot"

// Measures of a picture, in pixels.
const (
	width    = 960.0
	left     = 70.0
	right    = 830.0 // of the axes
	lineHigh = 18.0
)

// drawing is a figure between words.
type drawing struct {
	title      string
	text, foot []string
	plot.Figure
}

// svg writes the drawing.
func (d *drawing) svg() []byte {
	d.Left, d.Right = left, right
	first := 34 + lineHigh*float64(len(d.text)+1)
	bottom := first + d.Height()
	s := plot.NewSVG(width, bottom+lineHigh*float64(len(d.foot)+1), d.title, "")
	s.Words(plot.Point{X: left, Y: 28}, plot.Ink{Size: 18, Bold: true}, d.title)
	for k, line := range d.text {
		s.Words(plot.Point{X: left, Y: 52 + lineHigh*float64(k)}, plot.Ink{Size: 13}, line)
	}
	d.Draw(s, first)
	for k, line := range d.foot {
		s.Words(plot.Point{X: left, Y: bottom + lineHigh*float64(k+1)}, plot.Ink{Size: 13, Colour: "#444444"}, line)
	}
	return s.Bytes()
}
