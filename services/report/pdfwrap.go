package report

import (
	"strings"
)

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

// bound keeps numbers and their units on one line.
func (s *sheet) bound(text string) string { return s.units.ReplaceAllString(text, "$1$3\u00a0$2$4") }
