package report

import (
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
	const most = 45
	t := Table{Caption: "Alarms in order of time. Acknowledged: by whom and how long after they were called. Cautions of load pins are counted above and not listed.",
		Columns: []Column{{Name: "Raised, UTC", Parts: 1.45}, {Name: "Priority", Parts: 1.1}, {Name: "What and where", Parts: 2}, {Name: "Told", Parts: 4.4}, {Name: "Acknowledged", Parts: 2.2}, {Name: "Stood for", Parts: 1.2, Right: true}}}
	if f.FromRecording {
		t.Columns[4].Parts = 0
		t.Caption = "Alarms in order of time. Cautions of load pins are counted above and not listed."
	}
	listedAll := 0
	for i := range f.Alarms {
		s := &f.Alarms[i]
		if s.Condition == detect.SensorFault.String() {
			continue
		}
		if listedAll++; listedAll > most {
			continue
		}
		stood := "still"
		if !s.Active() {
			stood = long(s.Cleared.Sub(s.Raised))
		}
		t.Rows = append(t.Rows, Row{Cells: []string{sharp(s.Raised), s.Priority.String(), what(s), s.Detail, acknowledged(s), stood}, Strong: s.Priority == detect.Emergency})
	}
	if f.FromRecording {
		t = t.without(4)
	}
	if len(t.Rows) > 0 {
		items = append(items, t)
	}
	if listedAll > most {
		items = append(items, Para(fmt.Sprintf("The first %d of %d are listed.", most, listedAll)))
	}
	return items
}

// without is a table less one column.
func (t Table) without(k int) Table {
	t.Columns = slices.Delete(slices.Clone(t.Columns), k, k+1)
	rows := make([]Row, len(t.Rows))
	for i, r := range t.Rows {
		rows[i] = Row{slices.Delete(slices.Clone(r.Cells), k, k+1), r.Strong}
	}
	t.Rows = rows
	return t
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
	t := Table{Caption: "Alarms of the stay by condition.", Columns: []Column{{Name: "Condition", Parts: 2}, {Name: "Priority", Parts: 1.4}, {Name: "Raised", Parts: 1, Right: true},
		{Name: "Lines", Parts: 3}, {Name: "Longest", Parts: 1.6, Right: true}}}
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
	slices.SortStableFunc(order, func(a, b string) int { return int(rows[a].s.Priority) - int(rows[b].s.Priority) })
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
