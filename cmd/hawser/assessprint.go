package main

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"hawser/detect/assess"
)

// page writes an assessment for people: the worst first, every figure with its
// unit. It keeps its first error.
type page struct {
	w   io.Writer
	q   *question
	a   *assess.Answer
	err error
}

func printAssessment(w io.Writer, q *question, a *assess.Answer) error {
	p := &page{w: w, q: q, a: a}
	p.heading()
	if !a.Found {
		p.say("\nNO EQUILIBRIUM. Nothing holds the ship under this force. The mooring can hold %.0f %% of it:\n"+
			"%.0f kN along the berth, %.0f kN across.\n", 100*a.HeldShare, a.HeldForce.SurgeKN, a.HeldForce.SwayKN)
	} else {
		p.now()
		p.losses()
		p.wind()
		p.ahead()
		p.tending()
		p.motion()
	}
	p.cautions()
	return p.err
}

func (p *page) say(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format, args...)
	}
}

// table writes rows under a header, a column a tab.
func (p *page) table(header string, rows func(row func(format string, args ...any))) {
	t := tabwriter.NewWriter(p.w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, header)
	rows(func(format string, args ...any) { fmt.Fprintf(t, format+"\n", args...) })
	if p.err == nil {
		p.err = t.Flush()
	}
}

func (p *page) id(i int) string { return p.q.plan.Lines[i].ID }

func (p *page) heading() {
	q := p.q
	p.say("%s at berth %s\n", q.plan.Ship.Name, q.plan.Berth)
	wind := "none"
	if q.untold() {
		wind = "not told"
	}
	if q.wind.knots > 0 {
		wind = fmt.Sprintf("%.0f kn from %03.0f", q.wind.knots, q.wind.deg)
	}
	if q.current.knots > 0 {
		wind += fmt.Sprintf(", current %.1f kn toward %03.0f", q.current.knots, q.current.deg)
	}
	p.say("Wind %s. Water %.1f m above datum. Drafts %.1f m forward, %.1f m aft. Loads from %s.\n",
		wind, q.waters.LevelM, q.waters.DraftFwdM, q.waters.DraftAftM, q.source)
	if q.Measured {
		p.say("Loads and wind leave %.0f kN along and %.0f kN across unexplained; that force is kept in all answers.\n",
			q.left.SurgeKN, q.left.SwayKN)
	}
	for _, n := range q.notes {
		p.say("%s\n", n)
	}
}

// now is the mooring at rest.
func (p *page) now() {
	m, s := p.q.Mooring, &p.a.State
	worst := m.Worst(s)
	beside := ""
	if len(p.q.Without) > 0 {
		beside = ", " + p.holding()
	}
	p.say("\nWORST LINE%s: %s, %.0f kN, %s of MBL, %s.\n", beside, p.id(worst), s.TensionKN[worst],
		percent(m.Share(s, worst)), p.limit(worst, s.TensionKN[worst]))
	p.gives(&p.a.Intact)
	p.say("The ship lies %s, %s, bow %s.\n\n", way(s.Pose.SurgeM, "forward", "astern"), way(s.Pose.SwayM, "off the berth", "into the fenders"),
		turn(s.Pose.YawRad))
	order := p.byShare(func(i int) float64 { return s.TensionKN[i] })
	p.table("line\tgroup\tload kN\tmay be kN\tof MBL\tlimit kN\tstored kJ\trecoil under m/s\tstate", func(row func(string, ...any)) {
		for _, i := range order {
			l, stored, recoil := &p.q.plan.Lines[i], m.Stored(s, i), "-"
			if speed, ok := stored.RecoilMS(); ok {
				recoil = fmt.Sprintf("%.0f", speed)
			}
			state := p.limit(i, s.TensionKN[i])
			if slices.Contains(p.q.heard.Parted, i) {
				state = "parted, or may have"
			}
			row("%s\t%s\t%.0f\t%.0f to %.0f\t%s\t%.0f\t%.0f\t%s\t%s", l.ID, l.Group, s.TensionKN[i], p.a.Spread.LowKN[i], p.a.Spread.HighKN[i],
				percent(m.Share(s, i)), p.q.plan.WorkingLoadKN(i), stored.EnergyKJ(), recoil, state)
		}
	})
	doubt := "\"May be\" is for ropes 30 % stiffer or softer and pretension 30 % more or less."
	if p.q.Measured {
		doubt = "\"May be\" is for ropes 30 % stiffer or softer: loads that are measured stay what they are."
	}
	p.say("%s\n", doubt)
	p.say("Stored is the energy the line lets go if it parts; it kills anywhere on the deck.\n")
	if len(s.FenderKN) > 0 {
		var loads []string
		for i, kN := range s.FenderKN {
			loads = append(loads, fmt.Sprintf("%.0f at x %.0f m", kN, p.q.plan.Fenders[i].XM))
		}
		p.say("Fenders kN: %s.\n", strings.Join(loads, ", "))
	}
}

// byShare orders the lines by a load's share of MBL, the most first.
func (p *page) byShare(load func(i int) float64) []int {
	order := make([]int, len(p.q.plan.Lines))
	for i := range order {
		order[i] = i
	}
	share := func(i int) float64 { return load(i) / p.q.plan.Lines[i].MBLkN }
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(share(b), share(a)) })
	return order
}

// limitWords are what people read beside a load.
var limitWords = [...]string{assess.Below: "below its limit", assess.Approaching: "APPROACHING its limit",
	assess.WorkingLoad: "OVER its working load limit", assess.Brake: "BRAKE RENDERS", assess.Breaking: "BREAKS"}

func (p *page) limit(i int, kN float64) string { return limitWords[p.q.Mooring.Limit(i, kN)] }

// gives says what brakes render and what lines part.
func (p *page) gives(l *assess.Loss) {
	if s := p.follows(l); s != "" {
		p.say("Then %s.\n", s)
	}
}

func (p *page) follows(l *assess.Loss) string {
	var parts []string
	if len(l.Renders) > 0 {
		parts = append(parts, "brakes render: "+strings.Join(p.q.ids(l.Renders), ", "))
	}
	if len(l.Cascade) > 0 {
		parts = append(parts, "lines part: "+strings.Join(p.q.ids(l.Cascade), ", "))
	}
	switch {
	case !l.Holds:
		parts = append(parts, "NOTHING HOLDS THE SHIP")
	case len(parts) > 0:
		worst := p.q.Mooring.Worst(&l.Final)
		parts = append(parts, fmt.Sprintf("she is held, line %s at %s of MBL", p.id(worst), percent(p.q.Mooring.Share(&l.Final, worst))))
	}
	return strings.Join(parts, "; ")
}

func (p *page) losses() {
	p.say("\nIF A LINE IS LOST, the worst first (ship at rest again; the swing there loads lines more):\n")
	p.table("lost\tworst then\tload kN\tmay be kN\tof MBL\tstate\twhat gives then", func(row func(string, ...any)) {
		for i := range p.a.Losses {
			l := &p.a.Losses[i]
			lost := strings.Join(p.q.ids(l.Lost), ", ")
			if !l.Found {
				row("%s\t-\t-\t-\t-\tno equilibrium\t%s", lost, cmp.Or(p.follows(l), "-"))
				continue
			}
			kN := l.First.TensionKN[l.Worst]
			row("%s\t%s\t%.0f\t%.0f to %.0f\t%s\t%s\t%s", lost, p.id(l.Worst), kN, l.WorstLowKN, l.WorstHighKN, percent(p.q.Mooring.Share(&l.First, l.Worst)),
				p.limit(l.Worst, kN), cmp.Or(p.follows(l), "nothing"))
		}
	})
	if len(p.q.Without) > 0 && p.a.Losses[0].Found {
		p.left(&p.a.Losses[0])
	}
}

// left is the loads of the lines that a loss leaves, before any brake renders.
func (p *page) left(l *assess.Loss) {
	p.say("The lines that are left:\n")
	load := func(i int) float64 { return l.First.TensionKN[i] }
	p.table("line\tgroup\tload kN\tof MBL\tstate", func(row func(string, ...any)) {
		for _, i := range p.byShare(load) {
			if !slices.Contains(l.Lost, i) {
				row("%s\t%s\t%.0f\t%s\t%s", p.id(i), p.q.plan.Lines[i].Group, load(i), percent(p.q.Mooring.Share(&l.First, i)), p.limit(i, load(i)))
			}
		}
	})
}

// wind is the limits of wind, every third direction of those found, with the
// weakest said first.
func (p *page) wind() {
	const every = 3
	weakest := slices.MinFunc(p.a.Wind, func(a, b assess.WindLimit) int { return cmp.Compare(a.Working.SpeedMS, b.Working.SpeedMS) })
	p.say("\nLIMITS OF STEADY WIND, knots at 10 m, %s; - for none up to %.0f.\n", p.holding(), assess.CeilingMS/msPerKnot)
	if asked := p.q.forecast.knots; asked > 0 && asked != p.q.wind.knots {
		p.say("Compare the %.0f kn above with these, not the %.0f kn of --wind.\n", p.q.wind.knots, asked)
	}
	if !p.q.gusts {
		p.say("They are of half minutes: a forecast's ten-minute mean has half minutes %.0f %% stronger (--gusts).\n", 100*(assess.Followed(1)-1))
	}
	switch {
	case weakest.Working.SpeedMS == 0:
		p.say("A line is at its working load limit without wind.\n")
	case weakest.Working.Line >= 0:
		p.say("Weakest from %03.0f: line %s comes to its working load limit in %.0f kn.\n",
			weakest.FromDeg, p.id(weakest.Working.Line), weakest.Working.SpeedMS/msPerKnot)
	}
	p.table("from\tworking load limit\tbrake renders\tmooring fails", func(row func(string, ...any)) {
		for k := 0; k < len(p.a.Wind); k += every {
			w := &p.a.Wind[k]
			row("%03.0f\t%s\t%s\t%s", w.FromDeg, p.threshold(w.Working), p.threshold(w.Brake), p.threshold(w.Fails))
		}
	})
}

// holding says which lines the limits of wind count on.
func (p *page) holding() string {
	switch {
	case len(p.q.heard.Parted) > 0:
		return "every line holding that is left"
	case len(p.q.Without) > 0:
		return "every line holding, " + strings.Join(p.q.ids(p.q.Without), " and ") + " as well"
	}
	return "every line holding"
}

func (p *page) threshold(t assess.Threshold) string {
	switch {
	case math.IsInf(t.SpeedMS, 1):
		return "-"
	case t.Line < 0:
		return fmt.Sprintf("%.0f, carried off", t.SpeedMS/msPerKnot)
	}
	return fmt.Sprintf("%.0f, line %s", t.SpeedMS/msPerKnot, p.id(t.Line))
}

func (p *page) ahead() {
	o := p.a.Outlook
	if o == nil {
		return
	}
	p.say("\nTHE HOURS AHEAD, from %s to %s UTC, wind as now and no winch touched:\n",
		clock(o.Moments[0].At), clock(o.Moments[len(o.Moments)-1].At))
	if math.Abs(p.q.shift) >= 0.005 {
		p.say("The tide is shifted by %+.2f m to meet the level now.\n", p.q.shift)
	}
	order := p.byShare(func(i int) float64 { return o.Lines[i].HighKN })
	p.table("line\tmost kN\tof MBL\tat\tleast kN\tat\tapproaches\tworking load limit\tbrake renders\tslack", func(row func(string, ...any)) {
		for _, i := range order {
			l := &o.Lines[i]
			if math.IsInf(l.HighKN, 0) {
				row("%s\t-\t-\t-\t-\t-\t-\t-\t-\t-", p.id(i))
				continue
			}
			row("%s\t%.0f\t%s\t%s\t%.0f\t%s\t%s\t%s\t%s\t%s", p.id(i), l.HighKN, percent(l.HighKN/p.q.plan.Lines[i].MBLkN), clock(l.HighAt),
				l.LowKN, clock(l.LowAt), clock(l.ApproachAt), clock(l.WorkingAt), clock(l.BrakeAt), clock(l.SlackAt))
		}
	})
	if len(o.Tend) == 0 {
		p.say("No line needs tending.\n")
		return
	}
	p.say("Lines that need tending:\n")
	p.table("line\tfrom\tto\tcomes to\tat", func(row func(string, ...any)) {
		for _, t := range o.Tend {
			why := "slack"
			if t.Reason != assess.Below {
				why = limitWords[t.Reason]
			}
			row("%s\t%s\t%s\t%s\t%s", p.id(t.Line), clock(t.From), clock(t.To), why, clock(t.ReachedAt))
		}
	})
}

// clock is a time as people on deck say it, - for none.
func clock(t time.Time) string {
	if t.IsZero() {
		return "-"
	}
	return t.Format("02 Jan 15:04")
}

func (p *page) tending() {
	a := p.a.Advice
	if len(a.Actions) == 0 && a.Settles() {
		if len(p.q.heard.Parted) > 0 {
			p.say("\nTENDING: none needed of the lines that are left. What has parted is to be replaced: another line out or\ntugs, by the ship's and the terminal's procedures.\n")
			return
		}
		p.say("\nTENDING: none needed now.\n")
		return
	}
	p.say("\nTENDING, in this order, one line at a time:\n")
	if len(a.Actions) > 0 {
		p.table("\tline\tdo\tmetres\tfrom kN\tto kN\ton\tworst line after", func(row func(string, ...any)) {
			for k := range a.Actions {
				x := &a.Actions[k]
				worst := p.q.Mooring.Worst(&x.After)
				row("%d\t%s\t%s\t%.2f\t%.0f\t%.0f\t%s\t%s at %s of MBL", k+1, p.id(x.Line), strings.ReplaceAll(doing(x), "-", " "),
					math.Abs(x.PayOut), x.FromKN, x.ToKN, p.q.plan.Lines[x.Line].MadeFast, p.id(worst), percent(p.q.Mooring.Share(&x.After, worst)))
			}
		})
	}
	if a.Bitts {
		p.say("Lines on bitts are in it because winches alone do not do: a line under load is not to be taken off bitts\n" +
			"without a stopper and those trained to it.\n")
	}
	if a.Settles() {
		p.say("Then every line is below its limits and the groups are even.\n")
		return
	}
	p.say("That does not settle it. Left: ")
	var left []string
	for i, c := range a.Concerns {
		if c != assess.None {
			left = append(left, fmt.Sprintf("line %s %s", p.id(i), c))
		}
	}
	p.say("%s. Easing all lines together in small steps, more lines, tugs or leaving the berth remain:\nthe master and the terminal decide.\n", strings.Join(left, ", "))
}

func (p *page) motion() {
	if p.q.Work == 0 {
		return
	}
	c := p.q.Work.Criterion()
	p.say("\nMOTION FOR CARGO WORK, %s, beside criteria of PIANC 1995 (from memory: confirm before use):\n", p.q.Work)
	if p.a.Motion == nil {
		p.say("In gusts of this wind NOTHING HOLDS THE SHIP.\n")
		return
	}
	m := *p.a.Motion
	p.table("\testimated\tcriterion", func(row func(string, ...any)) {
		row("surge m\t%.2f\t%.1f", m.SurgeM, c.SurgeM)
		row("sway off the fenders m\t%.2f\t%.1f", m.SwayM, c.SwayM)
		if !math.IsNaN(c.YawDeg) {
			row("yaw deg\t%.2f\t%.1f", m.YawDeg, c.YawDeg)
		}
	})
	verdict := "Within the criteria as far as gusts go; waves, swell, passing ships, heave, roll and pitch are not in it."
	if !m.Within(c) {
		verdict = "NOT within the criteria, and waves, swell and passing ships come on top."
	}
	p.say("%s\n", verdict)
}

func (p *page) cautions() {
	p.say("\nLoads are static estimates from the plan: waves, swell, passing ships and the swing after a parting come on top.\n%s\n", cautions)
}

// way is a distance with its sense in words.
func way(m float64, plus, minus string) string {
	word := plus
	if m < 0 {
		word = minus
	}
	return fmt.Sprintf("%.2f m %s", math.Abs(m), word)
}

func turn(rad float64) string {
	word := "out"
	if rad < 0 {
		word = "in"
	}
	return fmt.Sprintf("%.2f deg %s", math.Abs(degrees(rad)), word)
}
