package drawing

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"hawser/detect/assess"
	"hawser/services/drawing/plot"
)

// named is how many lines, the worst, are drawn heavy and named.
const named = 4

// Hours is the load of every line over the hours ahead as a share of its MBL, with
// the water level below. The worst few lines are named; the rest are thin.
func Hours(m *assess.Mooring, o *assess.Outlook) []byte {
	p := m.Plan()
	order := worstFirst(m, o)
	top := o.Lines[order[0]]
	words := "The ship finds no rest."
	if !math.IsInf(top.HighKN, 0) {
		words = fmt.Sprintf("The most is line %s with %.0f kN at %s.", p.Lines[order[0]].ID, top.HighKN, top.HighAt.Format("02 Jan 15:04"))
	}
	f := plot.Figure{Left: 80, Right: 1060, Zone: time.UTC, Unit: "UTC", Small: 14,
		From: o.Moments[0].At.UnixNano(), To: o.Moments[len(o.Moments)-1].At.UnixNano(),
		Panels: []plot.Panel{loadsAhead(m, o, order), waterAhead(o)}}
	s := newSheet(1200, 740, "Loads over the hours ahead, "+p.Ship.Name+" at "+p.Berth, words, "")
	s.text(28, 66, "small", "Wind as given and no winch touched. "+words)
	var part plot.SVG
	f.Draw(&part, 76)
	s.b.Write(part.Elements())
	return s.done()
}

func share(m *assess.Mooring, i int, kN float64) float64 { return kN / m.Plan().Lines[i].MBLkN }

// worstFirst orders the lines by the highest share of their MBL.
func worstFirst(m *assess.Mooring, o *assess.Outlook) []int {
	order := make([]int, len(o.Lines))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return -cmp.Compare(share(m, a, o.Lines[a].HighKN), share(m, b, o.Lines[b].HighKN))
	})
	return order
}

// loadsAhead are all lines' loads, the worst on top and named, with the worst line's
// limits. Where the ship finds no rest they have a gap.
func loadsAhead(m *assess.Mooring, o *assess.Outlook, order []int) plot.Panel {
	p := m.Plan()
	worst := order[0]
	limit := p.WorkingLoadKN(worst) / p.Lines[worst].MBLkN
	panel := plot.Panel{Title: "Share of breaking load, % of MBL", Height: 440, Whole: true, Levels: []plot.Level{
		{Value: 100 * limit, Label: "working load limit of line " + p.Lines[worst].ID},
		{Value: 100 * p.Limits.ApproachFraction * limit, Label: "the watch warns"},
	}}
	for k, i := range order {
		c := plot.Curve{Stroke: plot.Stroke{Colour: "#a9adb0", Width: 1.3}}
		switch {
		case k == 0:
			c.Stroke = plot.Heavy()
		case k < named:
			c.Stroke = plot.Other(k)
			c.Stroke.Width = 2
		}
		if k < named {
			c.Label = "line " + p.Lines[i].ID
		}
		for j, loads := range o.TensionKN {
			v := math.NaN()
			if loads != nil {
				v = 100 * share(m, i, loads[i])
			}
			c.Add(o.Moments[j].At.UnixNano(), v)
		}
		panel.Curves = append(panel.Curves, c)
	}
	return panel
}

// waterAhead is the level over the same hours.
func waterAhead(o *assess.Outlook) plot.Panel {
	c := plot.Curve{Label: "water level", Stroke: plot.Stroke{Colour: "#39708f", Width: 2.5}}
	for i := range o.Moments {
		c.Add(o.Moments[i].At.UnixNano(), o.Moments[i].LevelM)
	}
	return plot.Panel{Title: "Water level, m", Height: 95, Least: 0.5, Curves: []plot.Curve{c}}
}
