package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"hawser/detect/mooring"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/alarm"
)

// deckView shows a berth in the terminal: redrawn in place on one, as lines of
// news elsewhere.
type deckView struct {
	out      io.Writer
	st       *station
	plan     *mooring.Plan
	terminal bool

	told   map[string]bool // alarms already in the news, by id and state
	status time.Time       // of the last line of status
}

func newDeckView(out io.Writer, st *station, plan *mooring.Plan) *deckView {
	return &deckView{out: out, st: st, plan: plan, terminal: isTerminal(out), told: map[string]bool{}}
}

// run shows the berth until ctx ends.
func (v *deckView) run(ctx context.Context) error {
	fmt.Fprintf(v.out, "%s at berth %s, both invented. Ctrl-C stops.\n", v.plan.Ship.Name, v.plan.Berth)
	printAddresses(v.out, v.st)
	fmt.Fprintf(v.out, "\n%s\n\n", cautions)
	tick := time.NewTicker(500 * time.Millisecond)
	defer tick.Stop()
	if v.terminal {
		defer fmt.Fprint(v.out, "\x1b[?25h") // the cursor again
		fmt.Fprint(v.out, "\x1b[?25l\x1b[2J")
	}
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
		pictures := v.st.board.Pictures(v.plan.Berth)
		if len(pictures) == 0 {
			continue
		}
		alarms, _ := v.st.alarms.List(v.plan.Berth, true)
		if v.terminal {
			v.draw(pictures[0], alarms)
		} else {
			v.news(pictures[0], alarms)
		}
	}
}

// draw redraws the whole picture.
func (v *deckView) draw(p *hawserv1.BerthPicture, alarms []alarm.State) {
	var b bytes.Buffer
	row := func(format string, args ...any) { fmt.Fprintf(&b, format+"\x1b[K\n", args...) }
	b.WriteString("\x1b[H")
	row("%s at berth %s, both invented    %s", p.Ship, p.Berth, conditions(p))
	row("pages  http://%s/    gRPC %s    Ctrl-C stops", v.st.front.HTTPAddr(), v.st.front.GRPCAddr())
	row("")
	row("%-5s %-11s %8s %7s  %-32s %9s  %s", "line", "group", "load kN", "of MBL", "0 to 60 % of MBL, | is the limit", "paid out", "brake")
	for _, l := range p.Lines {
		row("%s", lineRow(l))
	}
	row("")
	row("Active alarms, worst first")
	shown := 0
	for i := range alarms {
		if a := &alarms[i]; a.Calls() && shown < 8 {
			row("  %s  %-9s %-16s %s", a.Raised.UTC().Format("15:04:05"), a.Priority, a.Condition, a.Detail)
			shown++
		}
	}
	if shown == 0 {
		row("  none")
	}
	row("")
	for _, c := range strings.Split(cautions, "\n") {
		row("%s", c)
	}
	b.WriteString("\x1b[J")
	_, _ = v.out.Write(b.Bytes())
}

// news tells what is new since the last time, and how it stands now and then.
func (v *deckView) news(p *hawserv1.BerthPicture, alarms []alarm.State) {
	for i := len(alarms) - 1; i >= 0; i-- {
		a := &alarms[i]
		state, at, detail := "raised", a.Raised, a.Detail
		if !a.Active() {
			state, at, detail = "cleared", a.Cleared, a.Return.Detail
		}
		if a.Suppressed != nil || v.told[a.ID+state] {
			continue
		}
		v.told[a.ID+state] = true
		fmt.Fprintf(v.out, "%s  %-7s %-9s %-16s %s\n", at.UTC().Format("15:04:05"), state, a.Priority, a.Condition, detail)
	}
	const every = 10 * time.Second
	if time.Since(v.status) < every {
		return
	}
	v.status = time.Now()
	var hardest *hawserv1.LinePicture
	for _, l := range p.Lines {
		if l.TensionKn != nil && (hardest == nil || l.GetTensionKn()/l.MblKn > hardest.GetTensionKn()/hardest.MblKn) {
			hardest = l
		}
	}
	if hardest != nil {
		fmt.Fprintf(v.out, "%s; hardest loaded is line %s, %s, with %.0f kN, %.0f %% of MBL\n",
			conditions(p), hardest.Line, hardest.Group, hardest.GetTensionKn(), 100*hardest.GetTensionKn()/hardest.MblKn)
	}
}

// conditions is time, wind and water in words.
func conditions(p *hawserv1.BerthPicture) string {
	s := p.NewestReadingAt.AsTime().Format("15:04:05 UTC")
	if p.WindSpeedMps != nil {
		s += fmt.Sprintf("  wind %.1f m/s", p.GetWindSpeedMps())
	}
	if p.WindDirectionDeg != nil {
		s += fmt.Sprintf(" from %03.0f", p.GetWindDirectionDeg())
	}
	if p.WaterLevelM != nil {
		s += fmt.Sprintf("  water %.2f m", p.GetWaterLevelM())
	}
	if !p.Live {
		s += "  NOT LIVE"
	}
	return s
}

// lineRow is one line's row: load, share, bar, pay-out, brake.
func lineRow(l *hawserv1.LinePicture) string {
	if l.TensionKn == nil {
		return fmt.Sprintf("%-5s %-11s %8s", l.Line, l.Group, "no reading")
	}
	payout, brake := "-", "bitts"
	if l.PayoutM != nil {
		payout = fmt.Sprintf("%.2f m", math.Round(100*l.GetPayoutM())/100+0) // no -0.00
	}
	if l.OnWinch {
		brake = "-"
	}
	if l.BrakeSet != nil {
		if brake = "released"; l.GetBrakeSet() {
			brake = "set"
		}
	}
	return fmt.Sprintf("%-5s %-11s %8.1f %5.0f %%  %s %9s  %s", l.Line, l.Group, l.GetTensionKn(),
		100*l.GetTensionKn()/l.MblKn, loadBar(l.GetTensionKn()/l.MblKn, l.WorkingLoadKn/l.MblKn), payout, brake)
}

// loadBar draws a share of MBL against the working load limit's.
func loadBar(share, limit float64) string {
	const width, full = 30, 0.60
	cell := func(x float64) int { return min(max(int(x/full*width+0.5), 0), width) }
	bar := []byte(strings.Repeat("=", cell(share)) + strings.Repeat(" ", width-cell(share)))
	if at := cell(limit); at < width {
		bar[at] = '|'
	}
	return "[" + string(bar) + "]"
}
