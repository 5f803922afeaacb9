package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"hawser/detect"
	"hawser/services/caution"
)

// summary says it all in plain words, with the key figures.
func (f *Figures) summary() []Item {
	return []Item{Notice(caution.Full), f.tiles(), Para(strings.Join(f.sentences(), " ")),
		Plot{f.glance(), "The stay on one look: the highest load of any line in each step as a share of its MBL, the wind and the water level. Times are UTC."}}
}

func (f *Figures) tiles() Tiles {
	t := Tiles{{"Under watch", long(f.To.Sub(f.From)), ""}}
	if i := f.hardest(); i >= 0 {
		l := &f.Lines[i]
		t = append(t, Tile{"Highest load", percent(l.Max/l.MBLkN) + " of MBL", fmt.Sprintf("%s kN, line %s", whole(l.Max), l.ID)})
	}
	over, lines := f.over()
	value, more := "none", "no line"
	if over > 0 {
		value, more = long(over), named(lines)
	} else if peaks := f.peaked(); len(peaks) > 0 {
		value, more = "peaks only", named(peaks)
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

// peaked are the lines with a reading at or over their limit.
func (f *Figures) peaked() (lines []string) {
	for i := range f.Lines {
		if l := &f.Lines[i]; l.Max >= l.WorkingKN {
			lines = append(lines, l.ID)
		}
	}
	return lines
}

// named writes which lines, or how many where they are many.
func named(lines []string) string {
	switch {
	case len(lines) == 1:
		return "line " + lines[0]
	case len(lines) > 5:
		return many(len(lines), "line")
	}
	return "lines " + strings.Join(lines, ", ")
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
