package quality

import (
	"fmt"
	"math"
	"slices"

	"hawser/detect/mooring"
)

// scene is a plan with what several rules want of it.
type scene struct {
	*mooring.Plan
	rig   *mooring.Rig
	spans []mooring.Span // at the plan's reference
	water *Water
}

func newScene(p *mooring.Plan, water *Water) *scene {
	s := &scene{Plan: p, rig: mooring.NewRig(p), water: water}
	for i := range p.Lines {
		s.spans = append(s.spans, s.rig.Span(i, mooring.Pose{}))
	}
	return s
}

// lengthM is line i's whole length at the reference, drum or bitts to hook.
func (s *scene) lengthM(i int) float64 { return s.spans[i].LengthM + s.Lines[i].InboardM }

// members are the indices of the lines of each group that has any, in the order
// of the groups from head to stern.
func (s *scene) members() [][]int {
	var of [mooring.Stern + 1][]int
	for i := range s.Lines {
		of[s.Lines[i].Group] = append(of[s.Lines[i].Group], i)
	}
	return slices.DeleteFunc(of[:], func(m []int) bool { return len(m) == 0 })
}

// ids of lines.
func (s *scene) ids(lines []int) []string {
	out := make([]string, len(lines))
	for k, i := range lines {
		out[k] = s.Lines[i].ID
	}
	return out
}

// finding is what a rule says of a line: nothing where severity is 0. The
// figures of all lines with the same finding are told together.
type finding struct {
	severity Severity
	text     string // with %s for the figures
	figure   float64
}

// lineByLine puts a rule to each line and gathers what it says by severity and
// text, in the order of the first line of each.
func (s *scene) lineByLine(unit string, judge func(i int) finding) []Remark {
	type kind struct {
		severity Severity
		text     string
	}
	var kinds []kind
	found := map[kind][]int{}
	figures := map[kind][]float64{}
	for i := range s.Lines {
		f := judge(i)
		if f.severity == 0 {
			continue
		}
		k := kind{f.severity, f.text}
		if found[k] == nil {
			kinds = append(kinds, k)
		}
		found[k] = append(found[k], i)
		figures[k] = append(figures[k], f.figure)
	}
	var out []Remark
	for _, k := range kinds {
		out = append(out, Remark{Severity: k.severity, Lines: s.ids(found[k]), Text: fmt.Sprintf(k.text, fromTo(figures[k], unit))})
	}
	return out
}

// naming is one remark with the lines for which it holds and no figures.
func (s *scene) naming(severity Severity, text string, holds func(l *mooring.Line) bool) []Remark {
	var lines []int
	for i := range s.Lines {
		if holds(&s.Lines[i]) {
			lines = append(lines, i)
		}
	}
	if lines == nil {
		return nil
	}
	return []Remark{{Severity: severity, Lines: s.ids(lines), Text: text}}
}

// fromTo is figures from the least to the most.
func fromTo(figures []float64, unit string) string {
	lo, hi := rounded(slices.Min(figures)), rounded(slices.Max(figures))
	if lo == hi {
		return lo + unit
	}
	return lo + " to " + hi + unit
}

// rounded is a figure to three digits, or to the whole where it has more.
func rounded(x float64) string {
	if math.Abs(x) >= 999.5 {
		return fmt.Sprintf("%.0f", x)
	}
	return fmt.Sprintf("%.3g", x)
}

// whole is a remark on the mooring as a whole.
func whole(severity Severity, format string, args ...any) []Remark {
	return []Remark{{Severity: severity, Text: fmt.Sprintf(format, args...)}}
}

func degrees(rad float64) float64 { return rad * 180 / math.Pi }

const (
	guidance = "MEG 4th edition (2018), as quoted in a published article on ships' design loads"
	practice = "common practice, no source"
)
