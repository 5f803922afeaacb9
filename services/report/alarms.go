package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"hawser/detect"
	"hawser/services/alarm"
)

// alarmsAndResponses lists what was raised, who took it on and how long that took.
func (f *Figures) alarmsAndResponses() []Item {
	if len(f.Alarms) == 0 {
		return []Item{Para("No alarm was raised in the stay.")}
	}
	items := []Item{f.alarmCounts()}
	if f.FromRecording {
		items = append(items, Para("The alarms are those of the detectors run over the recording. Nobody was told of them, so no responses are on record."))
	} else {
		items = append(items, Para(f.responses()))
	}
	const most = 45 // listed
	t := Table{Caption: "Alarms in order of time. Acknowledged: by whom and how long after they were called. Cautions of load pins are counted above and not listed.",
		Columns: []Column{text("Raised, UTC", 1.45), text("Priority", 1.1), text("What and where", 2), text("Told", 4.4), text("Acknowledged", 2.2), number("Stood for", 1.2)}}
	const acknowledgements = 4
	if f.FromRecording {
		t.Caption = "Alarms in order of time. Cautions of load pins are counted above and not listed."
		t.Columns = slices.Delete(t.Columns, acknowledgements, acknowledgements+1)
	}
	all := 0
	for i := range f.Alarms {
		s := &f.Alarms[i]
		if s.Condition == detect.SensorFault.String() {
			continue
		}
		if all++; all > most {
			continue
		}
		stood := "still"
		if !s.Active() {
			stood = long(s.Cleared.Sub(s.Raised))
		}
		cells := []string{sharp(s.Raised), s.Priority.String(), what(s), s.Detail, acknowledged(s), stood}
		if f.FromRecording {
			cells = slices.Delete(cells, acknowledgements, acknowledgements+1)
		}
		t.Rows = append(t.Rows, Row{cells, s.Priority == detect.Emergency})
	}
	if all > 0 {
		items = append(items, t)
	}
	if all > most {
		items = append(items, Para(fmt.Sprintf("The first %d of %d are listed.", most, all)))
	}
	return items
}

func what(s *alarm.State) string {
	switch {
	case s.Line != "":
		return s.Condition + ", line " + s.Line
	case s.Group != "":
		return s.Condition + ", " + s.Group + " lines"
	case s.Source != "":
		return s.Condition + ", gateway " + s.Source
	}
	return s.Condition
}

func acknowledged(s *alarm.State) string {
	var parts []string
	for _, a := range s.Acknowledgements {
		p := fmt.Sprintf("%s, %s, after %s", a.By, a.Side, long(max(0, a.At.Sub(s.Recorded))))
		if a.Note != "" {
			p += ": " + a.Note
		}
		parts = append(parts, p)
	}
	if len(parts) == 0 {
		parts = append(parts, "by nobody")
	}
	if s.Level > 0 {
		parts = append(parts, "escalated "+times(s.Level))
	}
	return strings.Join(parts, "; ")
}

// alarmCounts is how many alarms there were of each condition.
func (f *Figures) alarmCounts() Table {
	t := Table{Caption: "Alarms of the stay by condition.", Columns: []Column{text("Condition", 2), text("Priority", 1.4), number("Raised", 1),
		text("Lines", 3), number("Longest", 1.6)}}
	type row struct {
		n       int
		lines   []string
		longest time.Duration
		s       *alarm.State
	}
	rows := map[string]*row{}
	var order []string
	for i := range f.Alarms {
		s := &f.Alarms[i]
		r := rows[s.Condition]
		if r == nil {
			r = &row{s: s}
			rows[s.Condition] = r
			order = append(order, s.Condition)
		}
		r.n++
		where := s.Place()
		if where != "-" && !slices.Contains(r.lines, where) {
			r.lines = append(r.lines, where)
		}
		end := f.Stay.End()
		if !s.Active() {
			end = s.Cleared
		}
		r.longest = max(r.longest, end.Sub(s.Raised))
	}
	slices.SortStableFunc(order, func(a, b string) int { return cmp.Compare(rows[a].s.Priority, rows[b].s.Priority) })
	for _, c := range order {
		r := rows[c]
		lines := strings.Join(r.lines, ", ")
		if len(r.lines) == 0 {
			lines = "–"
		}
		t.Rows = append(t.Rows, Row{Cells: []string{c, r.s.Priority.String(), fmt.Sprint(r.n), lines, long(r.longest)}})
	}
	return t
}

// responses sums up who took alarms on and how fast.
func (f *Figures) responses() string {
	var took []time.Duration
	n := 0
	for i := range f.Alarms {
		s := &f.Alarms[i]
		if s.Priority > detect.Alarm {
			continue
		}
		n++
		if a := s.Acknowledged(); a != nil {
			took = append(took, max(0, a.At.Sub(s.Recorded)))
		}
	}
	if n == 0 {
		return "There was no emergency or alarm that somebody had to take on."
	}
	out := fmt.Sprintf("Emergencies and alarms raised: %d; acknowledged: %d.", n, len(took))
	if len(took) > 0 {
		slices.Sort(took)
		out += fmt.Sprintf(" Half of these were within %s of the call, the last after %s.", long(took[(len(took)-1)/2]), long(took[len(took)-1]))
	}
	return out
}
