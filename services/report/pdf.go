package report

import (
	"bytes"
	"embed"
	"fmt"
	"regexp"
	"time"

	"codeberg.org/go-pdf/fpdf"
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

func (s *sheet) plotHigh(p Plot) float64 { return p.Figure.Height()*perUnit + 12 }

func (s *sheet) plot(p Plot) {
	s.room(s.plotHigh(p))
	s.plots++
	top := s.GetY()
	p.Figure.Draw(&canvas{s.Fpdf, marginSide, top}, 0)
	s.SetDashPattern(nil, 0)
	s.SetY(top + p.Figure.Height()*perUnit + 1)
	s.set("", 8, quietColour())
	s.lines(marginSide, textWide, 4.2, fmt.Sprintf("Figure %d. %s", s.plots, p.Caption))
	s.SetY(s.GetY() + 3)
}
