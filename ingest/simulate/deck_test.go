package simulate_test

import (
	"math"
	"testing"
	"time"

	"hawser/detect/mooring"
	"hawser/ingest/simulate"
)

// TestPartingIsTakenUp breaks a breast in a steady wind that holds the ship off
// her fenders. The pulls across the quay must come back to the wind's force: by
// hand, from ½ρV² at 1.225 kg/m³, 0.92 of UFC 4-159-03 and the shape 1 abeam.
func TestPartingIsTakenUp(t *testing.T) {
	p := plan(t, "tanker-12")
	const wind, parts = 25.0, 60.0
	story := still(simulate.Event{At: parts * time.Second, Kind: simulate.Part, Line: "4"})
	story.Weather.WindMS, story.Weather.WindFromDeg = wind, math.Mod(p.HeadingDeg+90, 360)
	got := run(t, p, story, 900)

	force := 0.5 * 1.225e-3 * wind * wind * 0.92 * p.Ship.SideWindageM2
	for _, when := range []struct{ from, to float64 }{{30, 59}, {850, 900}} {
		var sum float64
		for _, l := range p.Lines {
			dx, dy, dz := l.Hook.X-l.Fairlead.X, l.Hook.Y-l.Fairlead.Y, l.Hook.Z-l.Fairlead.Z
			sum -= got.mean(t, l.ID+"/tension", when.from, when.to) * dy / math.Sqrt(dx*dx+dy*dy+dz*dz)
		}
		// The lines' directions here are those of the ship at her reference: she
		// lies half a metre off.
		if math.Abs(sum-force) > 0.02*force {
			t.Errorf("from %g s the lines hold %.0f kN across, the wind is %.0f", when.from, sum, force)
		}
	}

	mbl := p.Lines[3].MBLkN
	if lo, hi := got.extremes(t, "4/tension", parts+0.35, 900); lo != 0 || hi != 0 {
		t.Errorf("the parted line carries %g to %g kN", lo, hi)
	}
	if lo, _ := got.extremes(t, "4/tension", parts+0.05, parts+0.15); lo < 0.1*mbl {
		t.Errorf("0.1 s after it began the line is at %g kN: let go at once, not in 0.2 s", lo)
	}
	// Its neighbour gains by next to nothing in the first seconds and by a good
	// deal in the end: a heavy ship needs 10 to 30 s to move.
	before := got.mean(t, "3/tension", 50, parts)
	after := got.mean(t, "3/tension", 850, 900)
	if after-before < 0.05*mbl {
		t.Errorf("line 3 goes from %.0f to %.0f kN only", before, after)
	}
	if soon := got.mean(t, "3/tension", parts+0.9, parts+1.1); soon-before > 0.1*(after-before) {
		t.Errorf("line 3 has %.0f of %.0f kN after 1 s", soon-before, after-before)
	}
	for at := parts; ; at++ {
		if gained := got.mean(t, "3/tension", at, at+1) - before; gained >= after-before {
			if at-parts < 8 || at-parts > 35 {
				t.Errorf("line 3 has taken up its share after %g s", at-parts)
			}
			break
		}
	}
}

func TestBrakeRendersAtItsSetting(t *testing.T) {
	p := plan(t, "tanker-12")
	story := still(simulate.Event{Kind: simulate.WeakBrake, Line: "9", Value: 200, HoldKN: 150},
		simulate.Event{At: 10 * time.Second, Kind: simulate.Gust, For: 300 * time.Second, Value: 30})
	story.Weather.WindFromDeg = math.Mod(p.HeadingDeg+95, 360)
	got := run(t, p, story, 330)
	slipped := 0
	for _, l := range p.Lines {
		setting := l.BrakeRenderKN
		if l.ID == "9" {
			setting = 200
		}
		// A drum at 0.8 m/s yields faster than the ship goes: one step's growth.
		_, most := got.extremes(t, l.ID+"/tension", 0, 330)
		if most > 1.01*setting {
			t.Errorf("line %s reached %g kN, its brake renders at %g", l.ID, most, setting)
		}
		_, payout := got.extremes(t, l.ID+"/payout", 0, 330)
		if (payout > 0.05) != (most > 0.99*setting) {
			t.Errorf("line %s reached %g of %g kN and paid out %g m", l.ID, most, setting, payout)
		}
		if payout > 0.05 {
			slipped++
		}
		if lo, _ := got.extremes(t, l.ID+"/brake", 0, 330); lo != 1 {
			t.Errorf("line %s: brake released", l.ID)
		}
	}
	if slipped < 2 { // the weak one, and a sound one in a gust of 30 m/s
		t.Errorf("%d lines slipped", slipped)
	}
}

func TestTending(t *testing.T) {
	p := plan(t, "tanker-12")
	got := run(t, p, still(
		simulate.Event{At: 10 * time.Second, Kind: simulate.Tend, Line: "1", Value: 160},
		simulate.Event{At: 60 * time.Second, Kind: simulate.Tend, Line: "5", Value: 40}), 300)
	for _, c := range []struct {
		line   string
		at     float64
		kN     float64
		heaved bool
	}{{"1", 10, 160, true}, {"5", 60, 40, false}} {
		if lo, hi := got.extremes(t, c.line+"/brake", c.at, c.at+0.5); lo != 0 || hi != 0 {
			t.Errorf("line %s: brake reads %g to %g as the crew begins", c.line, lo, hi)
		}
		if lo, _ := got.extremes(t, c.line+"/brake", c.at+30, 300); lo != 1 {
			t.Errorf("line %s: brake not set again", c.line)
		}
		if payout := got.mean(t, c.line+"/payout", 250, 300); (payout < -0.05) != c.heaved || (payout > 0.05) == c.heaved {
			t.Errorf("line %s: pay-out %g m", c.line, payout)
		}
		// As the brake goes on; afterwards the ship moves and the load with her.
		for at := c.at + 1; ; at += 0.1 {
			if brake := got.between(t, c.line+"/brake", at, at+0.1); len(brake) > 0 && brake[0] == 1 {
				if load := got.mean(t, c.line+"/tension", at-0.1, at+0.1); math.Abs(load-c.kN) > 0.05*c.kN {
					t.Errorf("line %s: %g kN as the brake is set, wanted %g", c.line, load, c.kN)
				}
				break
			}
		}
	}
}

func TestReplacingAPartedLine(t *testing.T) {
	p := plan(t, "tanker-12")
	got := run(t, p, still(
		simulate.Event{At: 10 * time.Second, Kind: simulate.Part, Line: "2"},
		simulate.Event{At: 100 * time.Second, Kind: simulate.Tend, Line: "2", Value: 100}), 400)
	if load := got.mean(t, "2/tension", 50, 100); load != 0 {
		t.Errorf("%g kN while parted", load)
	}
	if load := got.mean(t, "2/tension", 350, 400); math.Abs(load-100) > 15 {
		t.Errorf("%g kN after, want 100", load)
	}
}

func TestALinePartsAtItsBreakingLoad(t *testing.T) {
	p := plan(t, "coaster-8") // on bitts: nothing renders
	story := still(simulate.Event{Kind: simulate.Gust, For: 200 * time.Second, Value: 55})
	story.Weather.WindFromDeg = math.Mod(p.HeadingDeg+90, 360)
	got := run(t, p, story, 200)
	parted := 0
	for _, l := range p.Lines {
		_, most := got.extremes(t, l.ID+"/tension", 0, 200)
		if most > 1.05*l.MBLkN {
			t.Errorf("line %s held %g kN, it breaks at %g", l.ID, most, l.MBLkN)
		}
		if most > l.MBLkN && got.mean(t, l.ID+"/tension", 195, 200) == 0 {
			parted++
		}
	}
	if parted == 0 {
		t.Error("no line parted in a gust of 55 m/s")
	}
}

func TestDemoOnEveryPlan(t *testing.T) {
	for _, name := range []string{"tanker-12", "carrier-20", "coaster-8"} {
		t.Run(name, func(t *testing.T) {
			p := plan(t, name)
			story := simulate.DemoStory(p)
			story.Start, story.Loop = start, true
			checkDemo(t, p, &story, run(t, p, story, 2*story.Length.Seconds()))
		})
	}
}

// TestDemoOfPoorPlans: the story must hold for whatever lies at the berth.
func TestDemoOfPoorPlans(t *testing.T) {
	for name, spoil := range map[string]func(*mooring.Plan){
		"three lines":   func(p *mooring.Plan) { p.Lines = []mooring.Line{p.Lines[2], p.Lines[4], p.Lines[8]} },
		"no pins":       func(p *mooring.Plan) { eachLine(p, func(l *mooring.Line) { l.Instrumented = false }) },
		"far too tight": func(p *mooring.Plan) { eachLine(p, func(l *mooring.Line) { l.PretensionKN = 0.55 * l.MBLkN }) },
		"all slack":     func(p *mooring.Plan) { eachLine(p, func(l *mooring.Line) { l.PretensionKN = 0 }) },
		"port side to":  func(p *mooring.Plan) { p.Side = mooring.Port },
	} {
		t.Run(name, func(t *testing.T) {
			p := plan(t, "tanker-12")
			spoil(p)
			story := simulate.DemoStory(p)
			story.Start = start
			for channel, s := range run(t, p, story, story.Length.Seconds()) {
				for _, v := range s.Value {
					if math.IsNaN(v) || math.IsInf(v, 0) {
						t.Fatalf("%s reads %v", channel, v)
					}
				}
			}
		})
	}
}

func eachLine(p *mooring.Plan, do func(*mooring.Line)) {
	for i := range p.Lines {
		do(&p.Lines[i])
	}
}

// checkDemo checks what the demonstration is to show, the second time round too.
func checkDemo(t *testing.T, p *mooring.Plan, story *simulate.Story, got track) {
	t.Helper()
	slip, part := "", ""
	for _, e := range story.Events {
		switch e.Kind {
		case simulate.WeakBrake:
			slip = e.Line
		case simulate.Part:
			part = e.Line
		}
	}
	for turn := range 2 {
		from := float64(turn) * story.Length.Seconds()
		var breasts float64
		for i, l := range p.Lines {
			calm := got.mean(t, l.ID+"/tension", from+5, from+45)
			if share := calm / l.MBLkN; share < 0.02 || share > 0.20 {
				t.Errorf("turn %d: line %s carries %.3f of MBL in the calm", turn, l.ID, share)
			}
			_, most := got.extremes(t, l.ID+"/tension", from, from+story.Length.Seconds())
			if most > p.WorkingLoadKN(i) {
				t.Errorf("turn %d: line %s goes to %.2f of MBL, over its limit", turn, l.ID, most/l.MBLkN)
			}
			if l.Group == mooring.FwdBreast || l.Group == mooring.AftBreast {
				breasts = max(breasts, most/l.MBLkN)
			}
		}
		if breasts < 0.35 {
			t.Errorf("turn %d: the gust brings the breasts to %.2f of MBL only", turn, breasts)
		}
		if p.Lines[p.Line(slip)].MadeFast == mooring.Winch {
			before := got.mean(t, slip+"/payout", from+50, from+60)
			if ran := got.mean(t, slip+"/payout", from+100, from+120) - before; ran < 0.3 {
				t.Errorf("turn %d: line %s slips by %g m", turn, slip, ran)
			}
			if lo, _ := got.extremes(t, slip+"/brake", from+50, from+120); lo != 1 {
				t.Errorf("turn %d: line %s slips with its brake off", turn, slip)
			}
		}
		if load := got.mean(t, part+"/tension", from+120, from+129); load < 0.1*p.Lines[p.Line(part)].MBLkN {
			t.Errorf("turn %d: line %s parts at %g kN", turn, part, load)
		}
		if lo, hi := got.extremes(t, part+"/tension", from+131, from+190); lo < -3 || hi > 3 {
			t.Errorf("turn %d: line %s reads %g to %g kN once parted", turn, part, lo, hi)
		}
	}
}
