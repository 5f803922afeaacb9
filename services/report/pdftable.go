package report

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
