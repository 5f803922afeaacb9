package detect_test

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/detect/reading"
)

const (
	second = int64(1e9)
	start  = int64(1772323200) * second // 2026-03-01T00:00:00Z
)

// fact is one reading on its way to a berth.
type fact struct {
	channel reading.Channel
	time    int64
	value   float64 // NaN for a bad reading
}

func tension(line string) reading.Channel { return reading.Channel{Line: line, Kind: reading.Tension} }
func payout(line string) reading.Channel  { return reading.Channel{Line: line, Kind: reading.Payout} }
func underWatch() reading.Channel         { return reading.Channel{Kind: reading.UnderWatch} }

func brake(line string) reading.Channel { return reading.Channel{Line: line, Kind: reading.Brake} }

// push hands facts to a berth as a source would, columns in order of channel.
func push(b *detect.Berth, source string, facts []fact) {
	columns := map[reading.Channel]*reading.Series{}
	var order []reading.Channel
	for _, f := range facts {
		s := columns[f.channel]
		if s == nil {
			s = &reading.Series{Channel: f.channel, Decimals: -1}
			columns[f.channel] = s
			order = append(order, f.channel)
		}
		q := reading.Good
		if math.IsNaN(f.value) {
			q = reading.Bad
		}
		s.Time, s.Value, s.Quality = append(s.Time, f.time), append(s.Value, f.value), append(s.Quality, q)
	}
	for _, c := range order {
		b.Push(source, columns[c])
	}
}

// replay runs facts through a fresh berth in blocks of a second.
func replay(plan *mooring.Plan, facts []fact) ([]detect.Change, *detect.Berth) {
	return replayWith(plan, facts, func(*detect.Berth) {})
}

// replayWith is as replay, with something done to the berth first.
func replayWith(plan *mooring.Plan, facts []fact, first func(*detect.Berth)) ([]detect.Change, *detect.Berth) {
	b := detect.New(plan)
	first(b)
	sorted := slices.Clone(facts)
	sort.SliceStable(sorted, func(i, j int) bool { return sorted[i].time < sorted[j].time })
	var out []detect.Change
	for from := 0; from < len(sorted); {
		window := sorted[from].time / second
		to := from
		for to < len(sorted) && sorted[to].time/second == window {
			to++
		}
		push(b, "a", sorted[from:to])
		until := (window+1)*second - 1
		out = b.Advance("a", until, out)
		from = to
	}
	return out, b
}

// text is changes in words, to compare and to read.
func text(changes []detect.Change) string {
	var s strings.Builder
	for _, c := range changes {
		state := "cleared"
		if c.Raised {
			state = "raised"
		}
		fmt.Fprintf(&s, "%s %s %s line=%q group=%s onset=%d value=%v limit=%v/%v %s | %s\n",
			c.When().Format("15:04:05.000"), c.Condition, state, c.Line, c.Group, c.Onset, c.Value, c.Limit, c.HasLimit, c.Unit, c.Detail)
	}
	return s.String()
}

// ship is a plan with n like lines in the six groups, all by winch and with
// load pins, mirrored fore and aft.
func ship(n int) *mooring.Plan {
	p := &mooring.Plan{
		Berth: "test-1",
		Ship: mooring.Ship{Name: "Test", LoaM: 180, BeamM: 32, DisplacementT: 50000,
			SideWindageM2: 2900, EndWindageM2: 800},
		Limits: mooring.DefaultLimits(),
	}
	at := []struct {
		group          mooring.Group
		fairlead, hook mooring.Point
	}{
		{mooring.Head, mooring.Point{X: 86, Y: 5, Z: 14}, mooring.Point{X: 112, Y: -34, Z: 6}},
		{mooring.Stern, mooring.Point{X: -86, Y: 5, Z: 14}, mooring.Point{X: -112, Y: -34, Z: 6}},
		{mooring.FwdBreast, mooring.Point{X: 72, Y: 1, Z: 14}, mooring.Point{X: 70, Y: -36, Z: 6}},
		{mooring.AftBreast, mooring.Point{X: -72, Y: 1, Z: 14}, mooring.Point{X: -70, Y: -36, Z: 6}},
		{mooring.FwdSpring, mooring.Point{X: 60, Y: 0, Z: 14}, mooring.Point{X: 12, Y: -6, Z: 6}},
		{mooring.AftSpring, mooring.Point{X: -60, Y: 0, Z: 14}, mooring.Point{X: -12, Y: -6, Z: 6}},
	}
	for i := range n {
		a := at[i%len(at)]
		p.Lines = append(p.Lines, mooring.Line{
			ID: fmt.Sprint(i + 1), Group: a.group, Fairlead: a.fairlead, Hook: a.hook,
			InboardM: 14, Material: mooring.Polyester, DiameterMM: 60, MBLkN: 640, PretensionKN: 95,
			MadeFast: mooring.Winch, BrakeRenderKN: 384, Instrumented: true,
		})
	}
	return p
}
