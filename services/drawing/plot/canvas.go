// Package plot draws values over time: panels under one another over one axis of
// time, on whatever takes strokes and words. It reckons nothing. The same figure
// gives the same strokes, and nothing in one is told by colour alone.
//
//	Figure ─► Canvas ┬ SVG  here
//	                 └ PDF  of whoever has one
//
// The plots are drawn plainly, with no plotting library: the one that would serve,
// gonum.org/v1/plot, brings a TeX reader and two families of fonts into every build
// for the sake of some lines and numbers, and does not tell curves apart by dashes.
package plot

import (
	"bytes"
	"encoding/xml"
	"fmt"
)

// Point is a place on the sheet: x to the right, y down, in units of 1/96 inch.
type Point struct{ X, Y float64 }

// Colour is one of sRGB, as #rrggbb.
type Colour string

// Stroke is how a line is drawn.
type Stroke struct {
	Colour Colour
	Width  float64
	Dash   []float64 // drawn and left out in turn; nil for none
}

// Anchor is the part of a text that stands at its place.
type Anchor uint8

const (
	Start Anchor = iota
	Middle
	End
)

// Ink is how words are written.
type Ink struct {
	Size   float64 // 0 is 12
	Bold   bool
	Colour Colour // "" is black
	Anchor Anchor
	Halo   bool // to be read over what is behind it
}

// Canvas takes strokes and words.
type Canvas interface {
	// Path joins points by straight lines.
	Path(points []Point, s Stroke)
	// Area fills what points enclose.
	Area(points []Point, fill Colour)
	// Ring is a circle, not filled.
	Ring(at Point, radius float64, s Stroke)
	// Words stand with their foot at a place.
	Words(at Point, ink Ink, text string)
}

// SVG is a drawing in SVG; the zero value takes strokes for another drawing.
type SVG struct{ b bytes.Buffer }

// NewSVG begins a drawing of a size; title and what is to be heard of it by those who
// cannot see it are said in words, the latter only if there is any.
func NewSVG(width, height float64, title, heard string) *SVG {
	s := &SVG{}
	fmt.Fprintf(&s.b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" width="%g" height="%g" role="img" font-family="system-ui, sans-serif">`+"\n", width, height, width, height)
	fmt.Fprintf(&s.b, "<title>%s</title>\n", escaped(title))
	if heard != "" {
		fmt.Fprintf(&s.b, "<desc>%s</desc>\n", escaped(heard))
	}
	fmt.Fprintf(&s.b, `<rect width="%g" height="%g" fill="#ffffff"/>`+"\n", width, height)
	return s
}

// Bytes ends the drawing.
func (s *SVG) Bytes() []byte {
	s.b.WriteString("</svg>\n")
	return s.b.Bytes()
}

// Elements are the strokes of a drawing that was not begun, to be put into another.
func (s *SVG) Elements() []byte { return s.b.Bytes() }

// Path is part of Canvas.
func (s *SVG) Path(points []Point, k Stroke) {
	if len(points) < 2 {
		return
	}
	s.b.WriteString(`<path d="`)
	s.along(points)
	fmt.Fprintf(&s.b, `" fill="none" stroke-linejoin="round" %s/>`+"\n", k.svg())
}

// Area is part of Canvas.
func (s *SVG) Area(points []Point, fill Colour) {
	if len(points) < 3 {
		return
	}
	s.b.WriteString(`<path d="`)
	s.along(points)
	fmt.Fprintf(&s.b, `Z" fill="%s"/>`+"\n", fill)
}

func (s *SVG) along(points []Point) {
	for k, p := range points {
		letter := "L"
		if k == 0 {
			letter = "M"
		}
		fmt.Fprintf(&s.b, "%s%.1f %.1f", letter, p.X, p.Y)
	}
}

// Ring is part of Canvas.
func (s *SVG) Ring(at Point, radius float64, k Stroke) {
	fmt.Fprintf(&s.b, `<circle cx="%.1f" cy="%.1f" r="%g" fill="none" %s/>`+"\n", at.X, at.Y, radius, k.svg())
}

// Words is part of Canvas.
func (s *SVG) Words(at Point, ink Ink, text string) {
	anchor := [...]string{"start", "middle", "end"}[ink.Anchor]
	// A style goes before what a drawing around it says of its text.
	style := fmt.Sprintf("font-size:%gpx;fill:%s", orElse(ink.Size, 12), orElse(ink.Colour, "#111111"))
	if ink.Bold {
		style += ";font-weight:bold"
	}
	if ink.Halo {
		style += ";stroke:#ffffff;stroke-width:4px;stroke-linejoin:round;paint-order:stroke"
	}
	fmt.Fprintf(&s.b, `<text x="%.1f" y="%.1f" text-anchor="%s" style="%s">%s</text>`+"\n", at.X, at.Y, anchor, style, escaped(text))
}

func orElse[T comparable](v, otherwise T) T {
	var zero T
	if v == zero {
		return otherwise
	}
	return v
}

func (k Stroke) svg() string {
	out := fmt.Sprintf(`stroke="%s" stroke-width="%g"`, k.Colour, k.Width)
	for i, d := range k.Dash {
		if i == 0 {
			out += ` stroke-dasharray="`
		} else {
			out += " "
		}
		out += fmt.Sprintf("%g", d)
	}
	if len(k.Dash) > 0 {
		out += `"`
	}
	return out
}

func escaped(s string) []byte {
	var w bytes.Buffer
	_ = xml.EscapeText(&w, []byte(s)) // a buffer takes all
	return w.Bytes()
}
