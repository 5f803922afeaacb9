package report

import (
	"fmt"
	"strings"
	"time"

	"hawser/detect"
)

// dataQuality says what the readings lack.
func (f *Figures) dataQuality() []Item {
	said := []string{f.sending(), f.silences()}
	t, well := f.qualityByLine()
	if len(t.Rows) == 0 {
		return []Item{Para(strings.Join(append(said, "Every load pin was read all the time and none was found at fault."), " "))}
	}
	if len(well) > 0 {
		said = append(said, fmt.Sprintf("Of %s there is nothing to tell: read all the time, and not found at fault.", listed(well)))
	}
	return []Item{Para(strings.Join(said, " ")), t}
}

// sending says how often load pins were read.
func (f *Figures) sending() string {
	switch {
	case f.Usual == 0:
		return "How often load pins were read is not to be told any more."
	case f.Usual < time.Second:
		return fmt.Sprintf("Load pins were read about %.0f times a second.", float64(time.Second)/float64(f.Usual))
	}
	return fmt.Sprintf("Load pins were read about every %s.", long(f.Usual))
}

// silences says when nothing came from the berth.
func (f *Figures) silences() string {
	if len(f.Gaps) == 0 {
		return "There was no time of a minute or more without readings of the berth."
	}
	const most = 6 // named
	var silent time.Duration
	var when []string
	for k, g := range f.Gaps {
		silent += g.Long
		if k < most {
			when = append(when, fmt.Sprintf("%s UTC for %s", short(g.From), long(g.Long)))
		}
	}
	text := fmt.Sprintf("For a minute or more nothing came from the berth %s, %s in all: %s", times(len(f.Gaps)), long(silent), strings.Join(when, "; "))
	if len(f.Gaps) > most {
		text += " and others"
	}
	return text + "."
}

// qualityByLine is a row for each line of which there is something to tell, and the
// lines of which there is not.
func (f *Figures) qualityByLine() (t Table, well []string) {
	t = Table{Caption: "Lines under watch of which there is something to tell. Read: share of the time with readings, faulty pins' included. Left out: with the pin at fault by the alarms.",
		Columns: []Column{text("Line", 0.7), text("Group", 1.3), number("Read", 0.9), number("Left out", 1.1),
			number("Longest gap", 1.2), number("Bad readings", 1.2), text("Remark", 4)}}
	for i := range f.Lines {
		l := &f.Lines[i]
		if !l.Instrumented {
			continue
		}
		read := min(1, float64(l.Measured+l.Faulty)/float64(max(f.To.Sub(f.From), 1)))
		left, gap, bad, remark := "–", "–", "–", f.remark(l)
		if l.Faulty > 0 {
			left = long(l.Faulty)
		}
		if l.LongestGap > f.Step {
			gap = long(l.LongestGap)
		}
		if l.Bad > 0 {
			bad = digits(float64(l.Bad), 0)
		}
		if read > 0.9995 && l.Faulty == 0 && l.Bad == 0 && remark == "" {
			well = append(well, l.ID)
			continue
		}
		t.Rows = append(t.Rows, Row{Cells: []string{l.ID, l.Group.String(), digits(100*read, 1) + " %", left, gap, bad, remark}})
	}
	return t, well
}

func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

// remark says what was told of a line's pin.
func (f *Figures) remark(l *Line) string {
	n := 0
	last := ""
	for i := range f.Alarms {
		if s := &f.Alarms[i]; s.Line == l.ID && s.Condition == detect.SensorFault.String() {
			n++
			last = s.Detail
		}
	}
	switch {
	case l.Measured == 0:
		return "nothing to be believed"
	case n == 0:
		return ""
	case n == 1:
		first, _, _ := strings.Cut(last, ";")
		return first
	}
	return fmt.Sprintf("pin at fault %s", times(n))
}
