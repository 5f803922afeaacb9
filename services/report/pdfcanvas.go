package report

import (
	"fmt"

	"codeberg.org/go-pdf/fpdf"

	"hawser/services/drawing/plot"
)

// canvas is a place on a page that a plot is drawn on.
type canvas struct {
	*fpdf.Fpdf
	left, top float64 // mm
}

func (g *canvas) at(p plot.Point) (x, y float64) { return g.left + p.X*perUnit, g.top + p.Y*perUnit }

func colour(c plot.Colour) (v rgb) {
	_, _ = fmt.Sscanf(string(c), "#%02x%02x%02x", &v.r, &v.g, &v.b) // the plots' own
	return v
}

func (g *canvas) stroke(s plot.Stroke) {
	c := colour(s.Colour)
	g.SetDrawColor(c.r, c.g, c.b)
	g.SetLineWidth(s.Width * perUnit)
	dash := make([]float64, len(s.Dash))
	for k, d := range s.Dash {
		dash[k] = d * perUnit
	}
	g.SetDashPattern(dash, 0)
	g.SetLineJoinStyle("round")
}

// Path is part of plot.Canvas.
func (g *canvas) Path(points []plot.Point, s plot.Stroke) {
	if len(points) < 2 {
		return
	}
	g.stroke(s)
	for k, p := range points {
		if x, y := g.at(p); k == 0 {
			g.MoveTo(x, y)
		} else {
			g.LineTo(x, y)
		}
	}
	g.DrawPath("D")
}

// Area is part of plot.Canvas.
func (g *canvas) Area(points []plot.Point, fill plot.Colour) {
	if len(points) < 3 {
		return
	}
	c := colour(fill)
	g.SetFillColor(c.r, c.g, c.b)
	all := make([]fpdf.PointType, len(points))
	for k, p := range points {
		all[k].X, all[k].Y = g.at(p)
	}
	g.Polygon(all, "F")
}

// Ring is part of plot.Canvas.
func (g *canvas) Ring(at plot.Point, radius float64, s plot.Stroke) {
	g.stroke(s)
	x, y := g.at(at)
	g.Circle(x, y, radius*perUnit, "D")
}

// Words is part of plot.Canvas.
func (g *canvas) Words(at plot.Point, ink plot.Ink, text string) {
	style := ""
	if ink.Bold {
		style = "B"
	}
	size := ink.Size
	if size == 0 {
		size = 12
	}
	g.SetFont(family, style, size*72/96)
	c := colour(ink.Colour)
	if ink.Colour == "" {
		c = rgb{0x11, 0x11, 0x11}
	}
	g.SetTextColor(c.r, c.g, c.b)
	x, y := g.at(at)
	switch wide := g.GetStringWidth(text); ink.Anchor {
	case plot.Middle:
		x -= wide / 2
	case plot.End:
		x -= wide
	}
	if ink.Halo {
		g.SetFillColor(255, 255, 255)
		g.Rect(x-0.4, y-size*perUnit*0.8, g.GetStringWidth(text)+0.8, size*perUnit, "F")
	}
	g.Fpdf.Text(x, y, text)
}
