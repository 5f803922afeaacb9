package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"hawser/detect"
	"hawser/services/alarm"
)

func durationOf(ns int64) time.Duration { return time.Duration(ns) }

// summary says it all in plain words, with the key figures.
func (f *Figures) summary() []Item {
	return []Item{Notice(Caution), f.tiles(), Para(strings.Join(f.sentences(), " ")),
		Plot{f.glance(), "The stay on one look: the highest load of any line in each step as a share of its MBL, the wind and the water level. Times are UTC."}}
}

func (f *Figures) tiles() Tiles {
	t := Tiles{{"Under watch", long(f.To.Sub(f.From)), ""}}
	if i := f.hardest(); i >= 0 {
		l := &f.Lines[i]
		t = append(t, Tile{"Highest load", percent(l.Max/l.MBLkN) + " of MBL", fmt.Sprintf("%s kN, line %s", whole(l.Max), l.ID)})
	}
	over, lines := f.over()
	more := "no line"
	if len(lines) > 0 {
		more = "line " + strings.Join(lines, ", ")
		if len(lines) > 1 {
			more = "lines " + strings.Join(lines, ", ")
		}
		if len(lines) > 5 {
			more = many(len(lines), "line")
		}
	}
	value := "none"
	if over > 0 {
		value = long(over)
	}
	t = append(t, Tile{"Over working load limit", value, more})
	t = append(t, Tile{"Alarms", fmt.Sprint(len(f.Alarms)), f.priorities()})
	if !math.IsNaN(f.Wind.MaxMS) {
		from := ""
		if !math.IsNaN(f.Wind.MaxFrom) {
			from = fmt.Sprintf(" from %03.0f°", f.Wind.MaxFrom)
		}
		t = append(t, Tile{"Strongest wind", digits(f.Wind.MaxMS, 1) + " m/s", fmt.Sprintf("%s kn%s", digits(knots(f.Wind.MaxMS), 0), from)})
	}
	return append(t, Tile{"Load readings", digits(100*f.readShare(), 1) + " %", "of the time, all pins"})
}

// over is how long lines stood over their limits, added up, and which.
func (f *Figures) over() (all time.Duration, lines []string) {
	for i := range f.Lines {
		if l := &f.Lines[i]; l.OverLimit > 0 {
			all += l.OverLimit
			lines = append(lines, l.ID)
		}
	}
	return all, lines
}

// priorities counts the alarms by priority in words.
func (f *Figures) priorities() string {
	n := map[detect.Priority]int{}
	for _, s := range f.Alarms {
		n[s.Priority]++
	}
	var parts []string
	for p := detect.Emergency; p <= detect.Caution; p++ {
		if n[p] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n[p], p))
		}
	}
	if len(parts) == 0 {
		return "none raised"
	}
	return strings.Join(parts, ", ")
}

// readShare is the share of the time with readings, over all lines with pins.
func (f *Figures) readShare() float64 {
	var read, all float64
	for i := range f.Lines {
		if l := &f.Lines[i]; l.Instrumented {
			read += min(1, float64(l.Measured+l.Faulty)/float64(f.To.Sub(f.From)))
			all++
		}
	}
	return read / max(all, 1)
}

func (f *Figures) sentences() (out []string) {
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	ship := f.Plan.Ship.Name
	verb := "lay"
	if f.Stay.Departure.IsZero() {
		verb = "has lain"
	}
	say("%s %s at %s for %s.", ship, verb, f.Plan.Berth, long(f.Stay.End().Sub(f.Stay.Arrival)))
	if !f.Stay.MadeFast.IsZero() {
		say("She was under watch for %s of it.", long(f.To.Sub(f.From)))
	}
	if i := f.hardest(); i >= 0 {
		l := &f.Lines[i]
		against := fmt.Sprintf("under its working load limit of %s kN", whole(l.WorkingKN))
		if l.Max >= l.WorkingKN {
			against = fmt.Sprintf("over its working load limit of %s kN", whole(l.WorkingKN))
		}
		say("The highest load by its limit was %s kN on line %s (%s), %s of MBL and %s, at %s UTC.", whole(l.Max), l.ID, l.Group, percent(l.Max/l.MBLkN), against, short(l.MaxAt))
	}
	if over, lines := f.over(); over > 0 {
		say("In steps of %s, %s stood at or over the working load limit for %s in all.", long(f.Step), listed(lines), long(over))
	} else {
		say("In steps of %s, no line stood at or over its working load limit.", long(f.Step))
	}
	out = append(out, f.happened()...)
	if n := len(f.Works); n > 0 {
		say("Lines were worked with the brake released %s.", times(n))
	}
	if !math.IsNaN(f.Wind.HighestMS) {
		say("The strongest ten minutes of wind had %s.", wind(f.Wind.HighestMS))
	}
	return out
}

func listed(lines []string) string {
	if len(lines) == 1 {
		return "line " + lines[0]
	}
	return "lines " + strings.Join(lines[:len(lines)-1], ", ") + " and " + lines[len(lines)-1]
}

// happened says what was raised, the gravest first.
func (f *Figures) happened() (out []string) {
	of := func(c detect.Condition) (lines []string, n int) {
		for _, s := range f.Alarms {
			if s.Condition == c.String() {
				n++
				if s.Line != "" && !slices.Contains(lines, s.Line) {
					lines = append(lines, s.Line)
				}
			}
		}
		return lines, n
	}
	if lines, n := of(detect.LineParted); n > 0 {
		out = append(out, fmt.Sprintf("%s parted.", sentence(listed(lines))))
	}
	if lines, n := of(detect.BrakeSlip); n > 0 {
		out = append(out, fmt.Sprintf("A slip was told %s, on %s.", times(n), listed(lines)))
	}
	if lines, n := of(detect.SensorFault); n > 0 {
		out = append(out, fmt.Sprintf("A load pin was at fault %s, on %s.", times(n), listed(lines)))
	}
	return out
}

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
