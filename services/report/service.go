package report

import (
	"context"
	"fmt"
	"time"

	"hawser/detect/fatigue"
	"hawser/detect/reading"
	"hawser/services/linebook"
)

// Service is what the stay added to a line's service, by all good readings under
// watch with the pin not at fault.
type Service struct {
	UnderLoad time.Duration // steps with a mean of 2 % of MBL or more
	Counted   bool          // false where the store has let the readings go
	Cycles    float64       // rainflow cycles
	Above     float64       // those of a range of a tenth of MBL or more
	Miner     float64
	Curve     fatigue.Curve
}

// underLoad is the least share of MBL that is a load.
const underLoad = 0.02

// service counts the cycles of each line.
func (f *Figures) service(ctx context.Context) error {
	counters := make([]fatigue.Counter, len(f.Lines))
	counts := make([]fatigue.Matrix, len(f.Lines))
	faults := make([][]interval, len(f.Lines))
	for i := range f.Lines {
		faults[i] = f.faults(f.Lines[i].ID)
	}
	err := f.Source.Each(ctx, reading.Tension, f.From, f.To, func(c *Course) {
		i := f.Plan.Line(c.Channel.Line)
		if i < 0 {
			return
		}
		mbl := f.Lines[i].MBLkN
		f.Lines[i].Service.Counted = true
		for k, v := range c.Mean {
			if len(faults[i]) == 0 || !inAny(faults[i], c.Time[k], c.Time[k]+1) {
				counters[i].Push(max(v/mbl, 0), linebook.Gate, &counts[i])
			}
		}
	})
	if err != nil {
		return err
	}
	for i := range f.Lines {
		l := &f.Lines[i]
		counters[i].Rest(&counts[i]) // the history ends here
		s := &l.Service
		s.Curve = linebook.CurveOf(l.Material)
		s.Cycles, s.Above, s.Miner = counts[i].Cycles(0), counts[i].Cycles(0.1), counts[i].Damage(&s.Curve)
		for _, v := range l.course.Mean {
			if v >= underLoad*l.MBLkN {
				s.UnderLoad += f.Step
			}
		}
	}
	return nil
}

// serviceAdded is the table of what the stay added.
func (f *Figures) serviceAdded() []Item {
	t := Table{Caption: "Added to each line's service by this stay: hours at 2 % of MBL or more, greatest load, rainflow cycles (ASTM E1049-85) of all readings under watch, those of a range of 10 % of MBL or more, and the Miner sum by a tension-tension curve. ~ marks a curve that stands in for the material.",
		Columns: []Column{text("Line", 0.7), text("Group", 1.3), text("Material", 1.5), number("h under load", 1.2), number("Peak, % of MBL", 1.4),
			number("Cycles", 1), number("≥ 10 %", 0.9), number("Miner sum", 1.2)}}
	gone := false
	for i := range f.Lines {
		l := &f.Lines[i]
		if l.Measured == 0 {
			continue
		}
		cells := []string{l.ID, l.Group.String(), l.Material.String(), digits(l.Service.UnderLoad.Hours(), 1), percent(l.Max / l.MBLkN)}
		if !l.Service.Counted {
			gone = true
			t.Rows = append(t.Rows, Row{Cells: append(cells, "–", "–", "–")})
			continue
		}
		miner := fmt.Sprintf("%.1e", l.Service.Miner)
		if l.Service.Miner == 0 {
			miner = "0"
		}
		if l.Service.Curve.StandIn {
			miner = "~ " + miner
		}
		t.Rows = append(t.Rows, Row{Cells: append(cells, digits(l.Service.Cycles, 0), digits(l.Service.Above, 0), miner)})
	}
	items := []Item{t}
	if gone {
		items = append(items, Para("Of some lines the store has kept steps and no longer the readings themselves: their cycles cannot be counted any more."))
	}
	return append(items, Para("A Miner sum counts tension alone, by a curve for new rope of good make, and is known to a factor of ten: it tells which ropes to look at first, not that one is sound. Bending at fairlead and drum, chafe, heat, sunlight, salt and shock are not in it. Cycles faster than the readings are not seen."))
}
