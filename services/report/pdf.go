package report

import (
	"bytes"
	"embed"
	"fmt"
	"regexp"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"hawser/services/drawing/plot"
)

// The fonts are Open Sans, under the Apache licence beside them. Its figures all have
// one width, so that columns of numbers stand under one another.
//
//go:embed fonts
var fonts embed.FS

// Measures of a page, mm: A4.
const (
	pageWide, pageHigh = 210.0, 297.0
	marginSide         = 18.0
	marginTop          = 20.0
	marginFoot         = 18.0
	textWide           = pageWide - 2*marginSide
	textEnd            = pageHigh - marginFoot
	perUnit            = 25.4 / 96 // of package plot
	family             = "Open Sans"
)

// colours of the page.
type rgb struct{ r, g, b int }

func inkColour() rgb   { return rgb{0x16, 0x21, 0x2b} }
func quietColour() rgb { return rgb{0x55, 0x60, 0x6a} }
func deepColour() rgb  { return rgb{0x12, 0x46, 0x6b} }
func warnColour() rgb  { return rgb{0x8a, 0x1c, 0x12} }
func ruleColour() rgb  { return rgb{0xc9, 0xce, 0xd3} }

// sheet is a document being set.
type sheet struct {
	*fpdf.Fpdf
	d     *Document
	plots int
	pages int // in all, once that is known
	units *regexp.Regexp
}

// PDF is the document on A4 pages with bookmarks. made is its date.
func PDF(d *Document, made time.Time) ([]byte, error) {
	counted, err := newSheet(d, made, 0)
	if err != nil {
		return nil, err
	}
	counted.setAll() // to know how many pages there are
	s, err := newSheet(d, made, counted.PageCount())
	if err != nil {
		return nil, err
	}
	s.setAll()
	var b bytes.Buffer
	if err := s.Output(&b); err != nil {
		return nil, fmt.Errorf("pdf: %w", err)
	}
	return b.Bytes(), nil
}

func newSheet(d *Document, made time.Time, pages int) (*sheet, error) {
	s := &sheet{Fpdf: fpdf.New("P", "mm", "A4", ""), d: d, pages: pages,
		units: regexp.MustCompile(`(\d|≥) (\d|%|kN|kn|m/s|m|s|min|h|d|t|UTC)\b|(\d) (%)`)}
	for style, name := range map[string]string{"": "OpenSans-Regular.ttf", "B": "OpenSans-Semibold.ttf"} {
		font, err := fonts.ReadFile("fonts/" + name)
		if err != nil {
			return nil, err
		}
		s.AddUTF8FontFromBytes(family, style, font)
	}
	s.SetCatalogSort(true)
	s.SetCreationDate(made.UTC())
	s.SetModificationDate(made.UTC())
	s.SetTitle(d.Title+": "+d.Subtitle, true)
	s.SetCreator("hawser", true)
	s.SetProducer("hawser", true)
	s.SetLang("en-GB")
	s.SetMargins(marginSide, marginTop, marginSide)
	s.SetCellMargin(0)
	s.SetAutoPageBreak(false, marginFoot)
	s.SetHeaderFunc(s.header)
	s.SetFooterFunc(s.footer)
	return s, nil
}

func (s *sheet) setAll() {
	s.AddPage()
	s.titleBlock()
	for k, section := range s.d.Sections {
		s.section(k+1, section)
	}
}

func (s *sheet) ink(c rgb)  { s.SetTextColor(c.r, c.g, c.b) }
func (s *sheet) draw(c rgb) { s.SetDrawColor(c.r, c.g, c.b) }
func (s *sheet) set(style string, points float64, c rgb) {
	s.SetFont(family, style, points)
	s.ink(c)
}

func (s *sheet) header() {
	if s.PageNo() == 1 {
		return
	}
	s.set("", 7.5, quietColour())
	s.SetXY(marginSide, 10)
	s.CellFormat(textWide, 4, s.d.Title, "", 0, "L", false, 0, "")
	s.SetXY(marginSide, 10)
	s.CellFormat(textWide, 4, s.fit(s.d.Running, textWide*0.7), "", 0, "R", false, 0, "")
	s.draw(ruleColour())
	s.SetLineWidth(0.2)
	s.Line(marginSide, 15, pageWide-marginSide, 15)
	s.SetXY(marginSide, marginTop)
}

func (s *sheet) footer() {
	s.draw(ruleColour())
	s.SetLineWidth(0.2)
	s.Line(marginSide, pageHigh-14, pageWide-marginSide, pageHigh-14)
	s.set("", 7.5, quietColour())
	s.SetXY(marginSide, pageHigh-12.5)
	s.CellFormat(textWide, 4, s.d.Foot, "", 0, "L", false, 0, "")
	s.SetXY(marginSide, pageHigh-12.5)
	s.CellFormat(textWide, 4, fmt.Sprintf("Page %d of %d", s.PageNo(), s.pages), "", 0, "R", false, 0, "")
}

// room begins a new page where a height is not left on this one.
func (s *sheet) room(high float64) {
	if s.GetY()+high > textEnd && s.GetY() > marginTop+1 {
		s.AddPage()
	}
}

func (s *sheet) titleBlock() {
	s.set("B", 22, deepColour())
	s.CellFormat(textWide, 10, s.d.Title, "", 1, "L", false, 0, "")
	s.set("", 13, inkColour())
	s.lines(marginSide, textWide, 6.5, s.d.Subtitle)
	y := s.GetY() + 2
	s.draw(deepColour())
	s.SetLineWidth(0.6)
	s.Line(marginSide, y, pageWide-marginSide, y)
	s.SetY(y + 3)
	const name = 30.0
	for _, f := range s.d.Head {
		s.set("", 8.5, quietColour())
		y := s.GetY()
		s.CellFormat(name, 4.6, f.Name, "", 0, "L", false, 0, "")
		s.ink(inkColour())
		s.SetXY(marginSide+name, y)
		s.lines(marginSide+name, textWide-name, 4.6, f.Value)
	}
}

func (s *sheet) section(n int, section Section) {
	need := s.need(section.Items)
	s.SetY(s.GetY() + 5)
	s.room(need)
	s.Bookmark(fmt.Sprintf("%d  %s", n, section.Title), 0, -1)
	s.set("B", 13, deepColour())
	y := s.GetY()
	s.CellFormat(8, 7, fmt.Sprint(n), "", 0, "L", false, 0, "")
	s.CellFormat(textWide-8, 7, section.Title, "", 1, "L", false, 0, "")
	s.draw(ruleColour())
	s.SetLineWidth(0.25)
	s.Line(marginSide, y+7.4, pageWide-marginSide, y+7.4)
	s.SetY(y + 9.5)
	for k, item := range section.Items {
		switch item := item.(type) {
		case Para:
			if k+1 < len(section.Items) {
				if p, ok := section.Items[k+1].(Plot); ok {
					s.room(10 + s.plotHigh(p))
				}
			}
			s.para(string(item))
		case Notice:
			s.notice(string(item))
		case Tiles:
			s.tiles(item)
		case Table:
			s.table(item)
		case Plot:
			s.plot(item)
		}
	}
}

// need is how much of a section is to stand on the page of its title.
func (s *sheet) need(items []Item) float64 {
	need := 14.0
	for _, item := range items {
		switch item := item.(type) {
		case Plot:
			return need + s.plotHigh(item)
		case Table:
			return need + 30
		default:
			need += 14
		}
	}
	return need
}

// wrap breaks a text into lines of a width at its spaces, never at one that does not
// break; a word that is too long is cut.
func (s *sheet) wrap(text string, wide float64) (lines []string) {
	line := ""
	for _, word := range strings.Split(text, " ") {
		longer := word
		if line != "" {
			longer = line + " " + word
		}
		if s.GetStringWidth(longer) <= wide {
			line = longer
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for s.GetStringWidth(word) > wide {
			r := []rune(word)
			n := len(r) - 1
			for n > 1 && s.GetStringWidth(string(r[:n])) > wide {
				n--
			}
			lines, word = append(lines, string(r[:n])), string(r[n:])
		}
		line = word
	}
	return append(lines, line)
}

// lines sets a text in lines under one another.
func (s *sheet) lines(x, wide, high float64, text string) {
	for _, line := range s.wrap(text, wide) {
		s.SetX(x)
		s.CellFormat(wide, high, line, "", 1, "L", false, 0, "")
	}
}

func (s *sheet) para(text string) {
	s.set("", 9, inkColour())
	lines := s.wrap(s.bound(text), textWide)
	s.room(4.7 * float64(min(len(lines), 3)))
	for _, line := range lines {
		s.room(4.7)
		s.CellFormat(textWide, 4.7, line, "", 1, "L", false, 0, "")
	}
	s.SetY(s.GetY() + 1.8)
}

func (s *sheet) notice(text string) {
	s.set("B", 8.5, inkColour())
	lines := s.wrap(text, textWide-8)
	high := 4.5*float64(len(lines)) + 4
	s.room(high)
	y := s.GetY()
	s.SetFillColor(0xfb, 0xf1, 0xef)
	s.Rect(marginSide, y, textWide, high, "F")
	w := warnColour()
	s.SetFillColor(w.r, w.g, w.b)
	s.Rect(marginSide, y, 1.2, high, "F")
	s.SetY(y + 2)
	for _, line := range lines {
		s.SetX(marginSide + 4.5)
		s.CellFormat(textWide-8, 4.5, line, "", 1, "L", false, 0, "")
	}
	s.SetY(y + high + 3)
}

func (s *sheet) tiles(tiles Tiles) {
	const across, high = 3, 17.0
	rows := (len(tiles) + across - 1) / across
	s.room(float64(rows) * high)
	wide := textWide / across
	top := s.GetY()
	s.draw(ruleColour())
	s.SetLineWidth(0.25)
	for k, t := range tiles {
		x, y := marginSide+wide*float64(k%across), top+high*float64(k/across)
		s.Rect(x, y, wide, high, "D")
		for _, line := range []struct {
			at     float64
			style  string
			points float64
			ink    rgb
			text   string
		}{{1.2, "", 7.5, quietColour(), t.Name}, {5.4, "B", 13, inkColour(), t.Value}, {11.8, "", 7.5, quietColour(), t.More}} {
			s.set(line.style, line.points, line.ink)
			s.SetXY(x+2, y+line.at)
			s.CellFormat(wide-4, 4+line.points/7.5, s.fit(line.text, wide-5), "", 0, "L", false, 0, "")
		}
	}
	s.SetY(top + float64(rows)*high + 3)
}

// fit shortens a text to a width.
func (s *sheet) fit(text string, wide float64) string {
	if s.GetStringWidth(text) <= wide {
		return text
	}
	r := []rune(text)
	for len(r) > 1 && s.GetStringWidth(string(r)+"…") > wide {
		r = r[:len(r)-1]
	}
	return strings.TrimRight(string(r), " ,") + "…"
}

const (
	tableInk  = 7.5 // points
	tableLine = 3.7 // mm
	cellPad   = 1.0
	// apartColumns is between a column of figures and one of words behind it.
	apartColumns = 3.5
)

func (s *sheet) table(t Table) {
	var parts float64
	for _, c := range t.Columns {
		parts += c.Parts
	}
	wide := make([]float64, len(t.Columns))
	for k, c := range t.Columns {
		wide[k] = textWide * c.Parts / parts
	}
	s.set("", 8, quietColour())
	caption := s.wrap(t.Caption, textWide)
	s.room(4.2*float64(len(caption)) + 24)
	for _, line := range caption {
		s.CellFormat(textWide, 4.2, line, "", 1, "L", false, 0, "")
	}
	s.SetY(s.GetY() + 0.8)
	head := make([]string, len(t.Columns))
	for k, c := range t.Columns {
		head[k] = c.Name
	}
	s.row(t, wide, head, "B", inkColour(), 0.35)
	for _, r := range t.Rows {
		style, ink := "", inkColour()
		if r.Strong {
			style, ink = "B", warnColour()
		}
		if s.GetY()+s.rowHigh(t, wide, r.Cells, style) > textEnd {
			s.AddPage()
			s.row(t, wide, head, "B", inkColour(), 0.35)
		}
		s.row(t, wide, r.Cells, style, ink, 0.1)
	}
	s.SetY(s.GetY() + 3)
}

// indent keeps words apart from a column of figures before them.
func (t Table) indent(k int) float64 {
	if k > 0 && t.Columns[k-1].Right && !t.Columns[k].Right {
		return apartColumns
	}
	return 0
}

// cut breaks a cell's text into lines.
func (s *sheet) cut(text string, wide float64) []string {
	if text == "" {
		return nil
	}
	return s.wrap(s.bound(text), wide-cellPad)
}

// bound keeps numbers and their units on one line.
func (s *sheet) bound(text string) string { return s.units.ReplaceAllString(text, "$1$3\u00a0$2$4") }

func (s *sheet) rowHigh(t Table, wide []float64, cells []string, style string) float64 {
	s.SetFont(family, style, tableInk)
	lines := 1
	for k, c := range cells {
		lines = max(lines, len(s.cut(c, wide[k]-t.indent(k))))
	}
	return tableLine*float64(lines) + 1.4
}

// row sets one row with a rule of a weight under it.
func (s *sheet) row(t Table, wide []float64, cells []string, style string, ink rgb, rule float64) {
	high := s.rowHigh(t, wide, cells, style)
	s.set(style, tableInk, ink)
	top, x := s.GetY(), marginSide
	for k, c := range cells {
		align := "L"
		if t.Columns[k].Right {
			align = "R"
		}
		lines := s.cut(c, wide[k]-t.indent(k))
		y := top + 0.6
		if rule > 0.2 { // a head stands on its rule
			y = top + high - 0.8 - tableLine*float64(len(lines))
		}
		for _, line := range lines {
			s.SetXY(x+t.indent(k), y)
			s.CellFormat(wide[k]-cellPad-t.indent(k), tableLine, line, "", 0, align, false, 0, "")
			y += tableLine
		}
		x += wide[k]
	}
	if rule > 0.2 {
		s.draw(inkColour())
	} else {
		s.draw(ruleColour())
	}
	s.SetLineWidth(rule)
	s.Line(marginSide, top+high, pageWide-marginSide, top+high)
	s.SetXY(marginSide, top+high)
}

func (s *sheet) plotHigh(p Plot) float64 { return p.Figure.Height()*perUnit + 12 }

func (s *sheet) plot(p Plot) {
	s.room(s.plotHigh(p))
	s.plots++
	top := s.GetY()
	p.Figure.Draw(&ground{s.Fpdf, marginSide, top}, 0)
	s.SetDashPattern(nil, 0)
	s.SetY(top + p.Figure.Height()*perUnit + 1)
	s.set("", 8, quietColour())
	s.lines(marginSide, textWide, 4.2, fmt.Sprintf("Figure %d. %s", s.plots, p.Caption))
	s.SetY(s.GetY() + 3)
}

// ground is a place on a page as a plot's canvas.
type ground struct {
	*fpdf.Fpdf
	left, top float64 // mm
}

func (g *ground) at(p plot.Point) (x, y float64) { return g.left + p.X*perUnit, g.top + p.Y*perUnit }

func colour(c plot.Colour) (v rgb) {
	_, _ = fmt.Sscanf(string(c), "#%02x%02x%02x", &v.r, &v.g, &v.b) // the plots' own
	return v
}

func (g *ground) stroke(s plot.Stroke) {
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
func (g *ground) Path(points []plot.Point, s plot.Stroke) {
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
func (g *ground) Area(points []plot.Point, fill plot.Colour) {
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
func (g *ground) Ring(at plot.Point, radius float64, s plot.Stroke) {
	g.stroke(s)
	x, y := g.at(at)
	g.Circle(x, y, radius*perUnit, "D")
}

// Words is part of plot.Canvas.
func (g *ground) Words(at plot.Point, ink plot.Ink, text string) {
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
