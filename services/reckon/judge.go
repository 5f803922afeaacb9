package reckon

import (
	"fmt"
	"strings"

	"hawser/detect"
	"hawser/detect/assess"
	"hawser/services/alarm"
)

const (
	holdsAfter = 5
	overAfter  = 60   // longer than from gust to gust
	spare      = 0.97 // of the working load limit, under which it is over
)

// finding is what the losses of one round come to.
type finding struct {
	bad, clear bool // neither: between the two
	mooring    *assess.Mooring
	loss       *assess.Loss // the worst
	line       int          // brought nearest its limit, -1 where nothing holds the ship
	kN         float64
}

// judge looks whether the loss of any one line brings another to its working load
// limit that was under it.
func judge(m *assess.Mooring, intact *assess.State, losses []assess.Loss) finding {
	p := m.Plan()
	f := finding{mooring: m, clear: true, line: -1}
	most := 0.0
	for k := range losses {
		l := &losses[k]
		if !l.Found || !l.Holds {
			return finding{bad: true, mooring: m, loss: l, line: -1}
		}
		for i, kN := range l.First.TensionKN {
			limit := p.WorkingLoadKN(i)
			if intact.TensionKN[i] >= limit {
				continue // over it as it is, which is told for itself
			}
			if kN >= spare*limit {
				f.clear = false
			}
			if kN >= limit && kN/limit > most {
				f.bad, most, f.loss, f.line, f.kN = true, kN/limit, l, i, kN
			}
		}
	}
	return f
}

// own is the warning.
func (f *finding) own(berth string) alarm.Own {
	p := f.mooring.Plan()
	o := alarm.Own{Berth: berth, Condition: OneLineFromLimit, Priority: detect.Warning}
	lost := p.Lines[f.loss.Lost[0]].ID
	if f.line < 0 {
		o.Detail = fmt.Sprintf("If line %s parts nothing holds the ship%s: get tugs or more lines, and tell the master and the terminal.", lost, f.follows())
		return o
	}
	limit := p.WorkingLoadKN(f.line)
	o.Measure = alarm.Measure{Value: f.kN, HasValue: true, Limit: limit, HasLimit: true, Unit: "kN"}
	o.Detail = fmt.Sprintf("If line %s parts, line %s comes to %.0f kN, over its working load limit of %.0f kN%s: even up its group or get another line out while it holds.",
		lost, p.Lines[f.line].ID, f.kN, limit, f.follows())
	return o
}

// follows says which lines part after the first.
func (f *finding) follows() string {
	if len(f.loss.Cascade) == 0 {
		return ""
	}
	var ids []string
	for _, i := range f.loss.Cascade {
		ids = append(ids, f.mooring.Plan().Lines[i].ID)
	}
	return ", and " + strings.Join(ids, ", ") + " would part after it"
}

// state is whether the warning holds; between the two, what was said stands.
type state uint8

const (
	open state = iota
	holds
	over
)

// streak counts rounds in a row.
type streak struct{ bad, clear int }

func (s *streak) look(f finding) state {
	switch {
	case f.bad:
		s.bad, s.clear = s.bad+1, 0
	case f.clear:
		s.bad, s.clear = 0, s.clear+1
	default:
		s.bad, s.clear = 0, 0
	}
	switch {
	case s.bad >= holdsAfter:
		return holds
	case s.clear >= overAfter:
		return over
	}
	return open
}
