package drawing

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"hawser/detect/assess"
)

const hoursStyle = `
.other{stroke:#a9adb0;stroke-width:1.3;fill:none}
.l0{stroke:#b3261e;stroke-width:3.4;fill:none}
.l1{stroke:#39708f;stroke-width:3;fill:none;stroke-dasharray:14 5}
.l2{stroke:#a36a00;stroke-width:3;fill:none;stroke-dasharray:6 4}
.l3{stroke:#4f6b3a;stroke-width:3;fill:none;stroke-dasharray:2 4;stroke-linecap:round}
.limit{stroke:#1c2733;stroke-width:2;fill:none}
.warn{stroke:#1c2733;stroke-width:1.2;fill:none;stroke-dasharray:5 5}
.water{stroke:#39708f;stroke-width:2.5;fill:none}
`

// named is how many lines, the worst, are drawn heavy and named.
const named = 4

// Hours is the load of every line over the hours ahead as a share of its MBL, with
// the water level below. The worst few lines are named; the rest are thin.
func Hours(m *assess.Mooring, o *assess.Outlook) []byte {
	p := m.Plan()
	c := &chart{m: m, o: o, x0: 80, x1: 1060, y0: 100, y1: 520}
	c.start, c.end = o.Moments[0].At, o.Moments[len(o.Moments)-1].At
	order := c.worstFirst()
	top := o.Lines[order[0]]
	words := "The ship finds no rest."
	if !math.IsInf(top.HighKN, 0) {
		words = fmt.Sprintf("The most is line %s with %.0f kN at %s.", p.Lines[order[0]].ID, top.HighKN, top.HighAt.Format("02 Jan 15:04"))
	}
	c.sheet = newSheet(1200, 740, "Loads over the hours ahead, "+p.Ship.Name+" at "+p.Berth, words, hoursStyle)
	c.text(28, 66, "small", "Share of breaking load (MBL), wind as given and no winch touched. UTC. "+words)
	c.scale(order[0])
	c.times()
	c.loads(order)
	c.water()
	return c.done()
}

type chart struct {
	*sheet
	m              *assess.Mooring
	o              *assess.Outlook
	start, end     time.Time
	x0, x1, y0, y1 float64
	most           float64 // share at the top
}

func (c *chart) share(i int, kN float64) float64 { return kN / c.m.Plan().Lines[i].MBLkN }

func (c *chart) worstFirst() []int {
	order := make([]int, len(c.o.Lines))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return -cmp.Compare(c.share(a, c.o.Lines[a].HighKN), c.share(b, c.o.Lines[b].HighKN))
	})
	return order
}

func (c *chart) x(at time.Time) float64 {
	span := c.end.Sub(c.start)
	if span <= 0 {
		return c.x0
	}
	return c.x0 + (c.x1-c.x0)*float64(at.Sub(c.start))/float64(span)
}

func (c *chart) y(share float64) float64 { return c.y1 - (c.y1-c.y0)*share/c.most }

// scale is the axis of loads with the worst line's limits.
func (c *chart) scale(worst int) {
	p := c.m.Plan()
	limit := p.WorkingLoadKN(worst) / p.Lines[worst].MBLkN
	warns := p.Limits.ApproachFraction * limit
	c.most = max(limit, c.share(worst, c.o.Lines[worst].HighKN), 0.1)
	c.most = 0.1 * math.Ceil(c.most*10+0.2)
	for s := 0.0; s <= c.most+1e-9; s += 0.1 {
		c.sheet.line(c.x0, c.y(s), c.x1, c.y(s), "grid")
		c.text(c.x0-10, c.y(s)+5, "small end", fmt.Sprintf("%.0f %%", 100*s))
	}
	c.sheet.line(c.x0, c.y(limit), c.x1, c.y(limit), "limit")
	c.text(c.x0+6, c.y(limit)-6, "small strong halo", fmt.Sprintf("working load limit of line %s", p.Lines[worst].ID))
	c.sheet.line(c.x0, c.y(warns), c.x1, c.y(warns), "warn")
	c.text(c.x0+6, c.y(warns)-6, "small halo", "the watch warns")
}

// times is the axis of hours, a line each whole hour or every few.
func (c *chart) times() {
	every := time.Hour
	for _, e := range []time.Duration{2, 3, 6, 12, 24} {
		if c.end.Sub(c.start)/every <= 12 {
			break
		}
		every = e * time.Hour
	}
	for at := c.start.Truncate(every); !at.After(c.end); at = at.Add(every) {
		if at.Before(c.start) {
			continue
		}
		x := c.x(at)
		c.sheet.line(x, c.y0, x, 680, "grid")
		label := at.Format("15:04")
		if at.Hour() == 0 {
			label = at.Format("02 Jan")
		}
		c.text(x, c.y1+20, "small mid halo", label)
	}
}

// loads draws every line's load, the worst last and named at its end.
func (c *chart) loads(order []int) {
	for k := len(order) - 1; k >= 0; k-- {
		class := "other"
		if k < named {
			class = fmt.Sprintf("l%d", k)
		}
		for _, run := range c.runs(order[k]) {
			c.path(run, class, false)
		}
	}
	type end struct {
		y float64
		k int
	}
	var ends []end
	for k := range min(named, len(order)) {
		if runs := c.runs(order[k]); len(runs) > 0 {
			last := runs[len(runs)-1]
			ends = append(ends, end{last[len(last)-1][1], k})
		}
	}
	slices.SortStableFunc(ends, func(a, b end) int { return cmp.Compare(a.y, b.y) })
	below := math.Inf(-1)
	for _, e := range ends {
		y := max(e.y, below+20)
		below = y
		c.sheet.line(c.x1+8, y, c.x1+44, y, fmt.Sprintf("l%d", e.k))
		c.text(c.x1+50, y+5, "strong", "line "+c.m.Plan().Lines[order[e.k]].ID)
	}
}

// runs are a line's loads on the sheet, cut where the ship has no rest.
func (c *chart) runs(i int) [][][2]float64 {
	var all [][][2]float64
	var run [][2]float64
	for k, loads := range c.o.TensionKN {
		if loads == nil {
			if len(run) > 1 {
				all = append(all, run)
			}
			run = nil
			continue
		}
		run = append(run, [2]float64{c.x(c.o.Moments[k].At), c.y(c.share(i, loads[i]))})
	}
	if len(run) > 1 {
		all = append(all, run)
	}
	return all
}

// water is the level over the same hours.
func (c *chart) water() {
	const top, bottom = 575.0, 680.0
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range c.o.Moments {
		lo, hi = min(lo, c.o.Moments[i].LevelM), max(hi, c.o.Moments[i].LevelM)
	}
	middle, span := (lo+hi)/2, max(hi-lo, 0.5)
	y := func(level float64) float64 { return (top+bottom)/2 - (bottom-top)*(level-middle)/span }
	c.sheet.line(c.x0, bottom, c.x1, bottom, "axis")
	var run [][2]float64
	for i := range c.o.Moments {
		run = append(run, [2]float64{c.x(c.o.Moments[i].At), y(c.o.Moments[i].LevelM)})
	}
	c.path(run, "water", false)
	c.text(c.x0-10, y(hi)+5, "small end", fmt.Sprintf("%.1f m", hi))
	if hi-lo >= 0.05 {
		c.text(c.x0-10, y(lo)+5, "small end", fmt.Sprintf("%.1f m", lo))
	}
	c.text(c.x1+8, run[len(run)-1][1]+5, "", "water level")
}
