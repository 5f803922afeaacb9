package report

import (
	"fmt"
	"math"
	"strings"

	"hawser/detect/mooring"
	"hawser/services/caution"
)

// Compose sets the figures out as a document.
func Compose(f *Figures) *Document {
	ship := f.Plan.Ship.Name
	d := &Document{
		Title:    "Stay report",
		Subtitle: ship + " at " + f.Plan.Berth,
		Running:  ship + " at " + f.Plan.Berth,
		Foot:     caution.Short,
		Head:     f.head(),
	}
	d.Sections = append(d.Sections,
		Section{"Summary", f.summary()},
		Section{"Loads by group", f.loadsByGroup()},
		Section{"Loads by line", f.loadsByLine()},
		Section{"Worst moments", f.worstMoments()},
		Section{"Alarms and responses", f.alarmsAndResponses()},
		Section{"Tending", f.tendingTable()},
		Section{"Wind, water and drafts", f.windAndWater()},
		Section{"Line service added", f.serviceAdded()},
		Section{"Data quality", f.dataQuality()},
		Section{"How to read this report", f.reading()},
	)
	return d
}

// head is the title block.
func (f *Figures) head() []Fact {
	s, p, c := &f.Stay, f.Plan, clock{f.Zone}
	side := "starboard side to"
	if p.Side == mooring.Port {
		side = "port side to"
	}
	facts := []Fact{
		{"Berth", fmt.Sprintf("%s, heading %03.0f°, %s", p.Berth, p.HeadingDeg, side)},
		{"Particulars", fmt.Sprintf("length %s m, beam %s m, displacement %s t", digits(p.Ship.LoaM, 0), digits(p.Ship.BeamM, 1), whole(p.Ship.DisplacementT))},
		{"Lines", f.linesInWords()},
		{"Arrival", c.full(s.Arrival)},
	}
	if s.MadeFast.IsZero() {
		facts = append(facts, Fact{"Under watch", "not told by the berth"})
	} else {
		facts = append(facts, Fact{"Made fast", c.full(s.MadeFast)})
		letGo := c.full(s.LetGo)
		if s.LetGo.IsZero() {
			letGo = "not yet, or not told"
		}
		facts = append(facts, Fact{"Let go", letGo})
	}
	departure := c.full(s.Departure)
	switch {
	case s.Departure.IsZero():
		departure = "alongside; readings to " + c.full(s.Newest)
	case f.FromRecording && s.LetGo.IsZero():
		departure = "not told; the recording ends at " + c.full(s.Departure)
	}
	facts = append(facts, Fact{"Departure", departure})
	plan := f.Fingerprint
	if n := len(s.Plans); n > 1 {
		plan += fmt.Sprintf(", the last of %d in this stay", n)
	}
	return append(facts, Fact{"Plan version", plan}, Fact{"Stay", s.ID},
		Fact{"Made", c.full(f.Made) + ", hawser " + f.Version})
}

// linesInWords counts the lines, and those that send nothing.
func (f *Figures) linesInWords() string {
	without := 0
	for i := range f.Plan.Lines {
		if !f.Plan.Lines[i].Instrumented {
			without++
		}
	}
	s := fmt.Sprintf("%d", len(f.Plan.Lines))
	switch without {
	case 0:
		return s + ", all with load pins"
	case 1:
		return s + ", one without a load pin"
	}
	return s + fmt.Sprintf(", %d without load pins", without)
}

// groups are the groups of the plan in the order of the trade, with their lines.
func (f *Figures) groups() (out []group) {
	for g := mooring.Head; g <= mooring.Stern; g++ {
		v := group{name: g.String()}
		for i := range f.Lines {
			if f.Lines[i].Group == g {
				v.lines = append(v.lines, i)
			}
		}
		if len(v.lines) > 0 {
			out = append(out, v)
		}
	}
	return out
}

type group struct {
	name  string
	lines []int
}

// ids names the lines of a group.
func (f *Figures) ids(lines []int) string {
	var names []string
	for _, i := range lines {
		names = append(names, f.Lines[i].ID)
	}
	return strings.Join(names, ", ")
}

// loadsByGroup is the overview of the groups, and their table.
func (f *Figures) loadsByGroup() []Item {
	items := []Item{Plot{f.overview(), "Loads by group as shares of MBL over the stay. The band runs from the least to the greatest reading of the group's lines in each step, the line is their mean; the dashed line is the working load limit. Shaded: no readings. Times are UTC."}}
	t := Table{Caption: "Loads by group under watch, kN, and as shares of MBL. Times with a load pin at fault are left out.",
		Columns: []Column{text("Group", 1.5), text("Lines", 1.7), number("Least", 1), number("Mean", 1), number("Greatest", 1),
			number("% of MBL", 1), number("On line", 0.9), number("At, UTC", 1.5)}}
	for _, g := range f.groups() {
		lo, sum, n, most := math.NaN(), 0.0, 0.0, -1
		for _, i := range g.lines {
			l := &f.Lines[i]
			if l.Measured == 0 {
				continue
			}
			if below(l.Min, lo) {
				lo = l.Min
			}
			sum, n = sum+l.Mean*l.Measured.Seconds(), n+l.Measured.Seconds()
			if most < 0 || l.Max > f.Lines[most].Max {
				most = i
			}
		}
		if most < 0 {
			t.Rows = append(t.Rows, Row{Cells: []string{g.name, f.ids(g.lines), "–", "–", "–", "–", "–", "–"}})
			continue
		}
		l := &f.Lines[most]
		t.Rows = append(t.Rows, Row{Cells: []string{g.name, f.ids(g.lines), whole(max(lo, 0)), whole(sum / n), whole(l.Max), percent(l.Max / l.MBLkN), l.ID, short(l.MaxAt)}})
	}
	return append(items, t)
}

// loadsByLine is a row a line.
func (f *Figures) loadsByLine() []Item {
	t := Table{Caption: "Loads by line under watch. Hours are those of steps whose mean load is at or over the share of MBL, and at or over the working load limit.",
		Columns: []Column{text("Line", 0.7), text("Group", 1.4), number("MBL, kN", 1), number("Limit, kN", 1), number("Least", 0.8), number("Mean", 0.8),
			number("Greatest", 1), number("% of MBL", 1), number("At, UTC", 1.5)}}
	for _, share := range Bands() {
		t.Columns = append(t.Columns, number(fmt.Sprintf("≥ %.0f %%", 100*share), 0.9))
	}
	t.Columns = append(t.Columns, number("≥ limit", 0.9))
	for i := range f.Lines {
		l := &f.Lines[i]
		cells := []string{l.ID, l.Group.String(), whole(l.MBLkN), whole(l.WorkingKN), whole(max(l.Min, 0)), whole(l.Mean), whole(l.Max), percent(l.Max / l.MBLkN)}
		switch {
		case !l.Instrumented:
			cells = append(cells[:4], "no load pin", "", "", "", "")
		case l.Measured == 0:
			cells = append(cells[:4], "nothing read", "", "", "", "")
		default:
			cells = append(cells, short(l.MaxAt))
		}
		for _, d := range l.Above {
			cells = append(cells, hours(d))
		}
		t.Rows = append(t.Rows, Row{Cells: append(cells, hours(l.OverLimit))})
	}
	return []Item{t}
}

// worstMoments tells and draws each.
func (f *Figures) worstMoments() []Item {
	if len(f.Moments) == 0 {
		return []Item{Para("No line came to half of its working load limit.")}
	}
	var items []Item
	for k := range f.Moments {
		m := &f.Moments[k]
		l := &f.Lines[m.Line]
		told := fmt.Sprintf("%d. Line %s (%s) ", k+1, l.ID, l.Group)
		switch {
		case m.Parts && math.IsNaN(m.KN):
			told += fmt.Sprintf("parts, %s UTC.", sharp(m.At))
		case m.Parts:
			told += fmt.Sprintf("parts, %s UTC, at %s kN, %s of MBL.", sharp(m.At), whole(m.KN), percent(m.KN/l.MBLkN))
		default:
			told += fmt.Sprintf("at %s kN, %s of MBL, %s UTC.", whole(m.KN), percent(m.KN/l.MBLkN), sharp(m.At))
			if m.KN >= l.WorkingKN {
				told += fmt.Sprintf(" Its working load limit is %s kN.", whole(l.WorkingKN))
			}
		}
		if v := nearest(&m.Wind, m.At); !math.IsNaN(v) {
			told += " The wind was " + wind(v) + " then."
		}
		items = append(items, Para(told), Plot{f.momentPlot(m), "Readings from ten minutes before to ten minutes after: the line concerned and the most loaded others."})
	}
	return items
}

// tendingTable lists when lines were worked.
func (f *Figures) tendingTable() []Item {
	bitts := 0
	for i := range f.Plan.Lines {
		if f.Plan.Lines[i].MadeFast == mooring.Bitts {
			bitts++
		}
	}
	items := []Item{}
	switch bitts {
	case 0:
	case len(f.Plan.Lines):
		items = append(items, Para("All lines are on bitts, which have no brake to read: when they were worked is not known."))
	default:
		items = append(items, Para(fmt.Sprintf("When the lines on bitts were worked, %d of %d, is not known: they have no brake to read.", bitts, len(f.Plan.Lines))))
	}
	if bitts == len(f.Plan.Lines) {
		return items
	}
	if len(f.Works) == 0 {
		return append(items, Para("No brake was released under watch."))
	}
	const most = 40
	t := Table{Caption: "Lines worked with the brake released, under watch. Paid out is negative where the line was hove in. Loads are means of the minute before and after.",
		Columns: []Column{text("From, UTC", 1.5), text("Line", 0.7), text("Group", 1.3), number("For", 1.2), number("Paid out, m", 1.2), number("Load before, kN", 1.3), number("After, kN", 1.1)}}
	for k, w := range f.Works {
		if k == most {
			items = append(items, Para(fmt.Sprintf("The first %d of %d are listed.", most, len(f.Works))))
			break
		}
		l := &f.Lines[w.Line]
		t.Rows = append(t.Rows, Row{Cells: []string{sharp(w.From), l.ID, l.Group.String(), long(w.Long), digits(w.PaidM, 2), whole(w.BeforeKN), whole(w.AfterKN)}})
	}
	return append(items, t)
}

// windAndWater is what the ship lay in.
func (f *Figures) windAndWater() []Item {
	var parts []string
	if math.IsNaN(f.Wind.MaxMS) {
		parts = append(parts, "The wind was not told.")
	} else {
		s := fmt.Sprintf("The wind was %s on average, %s over the strongest ten minutes and %s at most, at %s UTC", wind(f.Wind.MeanMS), wind(f.Wind.HighestMS), wind(f.Wind.MaxMS), short(f.Wind.MaxAt))
		if !math.IsNaN(f.Wind.MaxFrom) {
			s += fmt.Sprintf(" from %03.0f°", f.Wind.MaxFrom)
		}
		parts = append(parts, s+".")
	}
	if math.IsNaN(f.Water.Lo) {
		parts = append(parts, "The water level was not told.")
	} else {
		parts = append(parts, fmt.Sprintf("The water stood between %s m (%s UTC) and %s m (%s UTC) above chart datum.", digits(f.Water.Lo, 2), short(f.Water.LoAt), digits(f.Water.Hi, 2), short(f.Water.HiAt)))
	}
	if !math.IsNaN(f.DraftFwd[0]) && !math.IsNaN(f.DraftAft[0]) {
		parts = append(parts, fmt.Sprintf("Drafts went from %s m forward and %s m aft to %s m and %s m.", digits(f.DraftFwd[0], 2), digits(f.DraftAft[0], 2), digits(f.DraftFwd[1], 2), digits(f.DraftAft[1], 2)))
	}
	items := []Item{Para(strings.Join(parts, " "))}
	if fig := f.weatherPlot(); len(fig.Panels) > 0 {
		items = append(items, Plot{fig, "Wind (band: least to greatest reading in each span, line: mean), water level above chart datum and drafts. Shaded: no load readings. Times are UTC."})
	}
	return items
}

// reading says how the figures are to be read, and ends with the caution.
func (f *Figures) reading() []Item {
	var items []Item
	zone := "All times are UTC."
	if f.Zone != nil {
		first, last := f.Stay.Arrival.In(f.Zone), f.Stay.End().In(f.Zone)
		zone = fmt.Sprintf("Times are UTC; local time, %s, is given in brackets at the head. It is %s", f.Zone, offset(first))
		if a, b := offset(first), offset(last); a != b {
			zone += fmt.Sprintf(" at arrival and %s at the end: the clocks were changed during the stay", b)
		}
		zone += "."
	}
	items = append(items, Para(zone+" "+fmt.Sprintf("Loads are as the load pins gave them, reckoned in steps of %s. A peak is the greatest single reading; what happened between readings is not seen. MBL is the ship design minimum breaking load of the plan, and the working load limit is the plan's.", long(f.Step))))
	items = append(items, Para("How far a load may be off is not known from the readings. A load pin in good order and calibrated is commonly taken to be good to 2 or 3 % of what it is rated for (common practice, no source); where a pin's zero has moved, or the line bends hard over its fairlead, the line itself carries another load than the pin reads. Lines without a load pin, and what the shore side bears, are not in the figures."))
	return append(items, Notice(caution.Full))
}
