// Package drawing makes drawings of an assessed mooring as SVG: the mooring from
// above to scale, the limits of wind about the compass, the loads over the hours
// ahead. It reckons nothing and reads nothing; the same answers give the same
// bytes. Nothing in a drawing is told by colour alone, and none draws a place on
// deck as safe, because there is none.
package drawing

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"strings"

	"hawser/services/caution"
)

// The drawings share one sheet of paper and one ink; weight and dash say what
// colour says.
const style = `
text{font:15px "DejaVu Sans",Verdana,sans-serif;fill:#1c2733}
.title{font-size:22px;font-weight:bold}
.small{font-size:13px}
.strong{font-weight:bold}
.mid{text-anchor:middle}
.end{text-anchor:end}
.halo{paint-order:stroke;stroke:#fbfaf7;stroke-width:5px;stroke-linejoin:round}
.grid{stroke:#c9c5ba;stroke-width:1;fill:none}
.axis{stroke:#5b6670;stroke-width:1.5;fill:none}
.thin{stroke:#5b6670;stroke-width:1;fill:none}
`

// sheet is one drawing being made.
type sheet struct {
	w, h float64
	b    bytes.Buffer
}

// newSheet begins a drawing. What it shows is said in words as well, for those
// who hear it read.
func newSheet(w, h float64, title, words, moreStyle string) *sheet {
	s := &sheet{w: w, h: h}
	fmt.Fprintf(&s.b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" width="%g" height="%g" role="img">`+"\n", w, h, w, h)
	fmt.Fprintf(&s.b, "<title>%s</title>\n<desc>%s</desc>\n<style>%s%s</style>\n", escape(title), escape(words), style, moreStyle)
	fmt.Fprintf(&s.b, `<rect width="%g" height="%g" fill="#fbfaf7"/>`+"\n", w, h)
	s.text(28, 40, "title", title)
	return s
}

// done ends the drawing.
func (s *sheet) done() []byte {
	s.text(28, s.h-16, "small", caution.Short)
	s.b.WriteString("</svg>\n")
	return s.b.Bytes()
}

func (s *sheet) put(format string, args ...any) { fmt.Fprintf(&s.b, format+"\n", args...) }

func (s *sheet) text(x, y float64, class, text string) {
	s.put(`<text x="%.1f" y="%.1f" class="%s">%s</text>`, x, y, class, escape(text))
}

func (s *sheet) line(x1, y1, x2, y2 float64, class string) {
	s.put(`<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="%s"/>`, x1, y1, x2, y2, class)
}

func (s *sheet) circle(x, y, r float64, class string) {
	s.put(`<circle cx="%.1f" cy="%.1f" r="%.1f" class="%s"/>`, x, y, r, class)
}

// path draws points joined by straight lines; a nil list draws nothing.
func (s *sheet) path(points [][2]float64, class string, closed bool) {
	if len(points) < 2 {
		return
	}
	var d strings.Builder
	for i, p := range points {
		fmt.Fprintf(&d, "%s%.1f %.1f", letter(i), p[0], p[1])
	}
	if closed {
		d.WriteString("Z")
	}
	s.put(`<path d="%s" class="%s"/>`, d.String(), class)
}

func escape(text string) string {
	var b bytes.Buffer
	_ = xml.EscapeText(&b, []byte(text)) // a Buffer takes all
	return b.String()
}

// letter begins a path at its first point and goes on at the others.
func letter(i int) string {
	if i == 0 {
		return "M"
	}
	return "L"
}
