package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"

	"hawser/services/drawing/plot"
)

//go:embed page.html
var page string

// HTML is the document as one page that needs nothing else: plots as SVG, a style
// sheet that also prints on A4.
func HTML(d *Document) ([]byte, error) {
	plots := 0
	t, err := template.New("report").Funcs(template.FuncMap{
		"kind": func(i Item) string { return fmt.Sprintf("%T", i)[len("report."):] },
		"svg": func(p Plot) template.HTML {
			plots++
			s := plot.NewSVG(sheetWidth, p.Figure.Height(), fmt.Sprintf("Figure %d", plots), p.Caption)
			p.Figure.Draw(s, 0)
			return template.HTML(s.Bytes()) // ours: every text in it is escaped
		},
		"number": func() int { return plots },
		"side": func(t Table, k int) string {
			if t.Columns[k].Right {
				return "r"
			}
			return "l"
		},
		// A short cell stays on one line.
		"short": func(s string) bool { return len([]rune(s)) <= 18 },
		"add":   func(a, b int) int { return a + b },
	}).Parse(page)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := t.Execute(&b, d); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
