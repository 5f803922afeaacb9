package planfile_test

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"hawser/detect/mooring"
	"hawser/ingest/planfile"
)

const sharedPlans = "../../testdata/plans"

// TestSharedPlans reads the ships every package tests with, and holds their
// lines to how a ship is moored.
func TestSharedPlans(t *testing.T) {
	for _, c := range []struct {
		file     string
		lines    int
		side     mooring.Side
		fast     mooring.MadeFast
		material mooring.Material
		tail     mooring.Material // 0 for none
	}{
		{"coaster-8.yaml", 8, mooring.Starboard, mooring.Bitts, mooring.MixedFibre, 0},
		{"tanker-12.yaml", 12, mooring.Starboard, mooring.Winch, mooring.HMPE, mooring.Polyester},
		{"carrier-20.yaml", 20, mooring.Port, mooring.Winch, mooring.SteelWire, mooring.Polyamide},
	} {
		t.Run(c.file, func(t *testing.T) {
			p, m, err := planfile.Load(filepath.Join(sharedPlans, c.file))
			must(t, err)
			if len(p.Lines) != c.lines || p.Side != c.side || p.Lines[0].Material != c.material {
				t.Errorf("%d lines, side %d, first line of %s", len(p.Lines), p.Side, p.Lines[0].Material)
			}
			for _, l := range p.Lines {
				if l.MadeFast != c.fast || !l.Instrumented {
					t.Errorf("line %s: %s, instrumented %t", l.ID, l.MadeFast, l.Instrumented)
				}
				if (l.Tail == nil) != (c.tail == 0) || l.Tail != nil && l.Tail.Material != c.tail {
					t.Errorf("line %s: tail %+v", l.ID, l.Tail)
				}
				leadsSensibly(t, l)
			}
			roundTrip(t, m)
		})
	}
}

// TestLongestPlan: what the schema allows at most stays within the bounds on
// bytes, merges and aliases, with each line merged three deep.
func TestLongestPlan(t *testing.T) {
	plain, err := os.ReadFile("testdata/plain.yaml")
	must(t, err)
	var b strings.Builder
	b.WriteString(strings.Replace(string(plain), fenders,
		"fenders:"+strings.Repeat("\n  - {x_m: 12.25, z_m: 3.75, stiffness_kN_per_m: 1100.5}", 200)+"\n", 1))
	b.WriteString("  - &two {<<: *head, id: 3, inboard_m: 7}\n  - &three {<<: *two, id: 4, group: stern}\n")
	for i := 5; i <= 64; i++ {
		fmt.Fprintf(&b, "  - {<<: [*three, *two], id: line-%d}\n", i)
	}
	b.WriteString("tide:\n  table:\n    levels:\n")
	for i, at := 0, time.Date(2026, time.January, 1, 0, 0, 0, 0, time.UTC); i < 3000; i++ {
		fmt.Fprintf(&b, "      - {time: %s, level_m: %d.25}\n", at.Format(time.RFC3339), i%2*5)
		at = at.Add(373 * time.Minute)
	}
	p, m, err := planfile.Parse("plan.yaml", []byte(b.String()))
	must(t, err)
	if len(p.Tide.Table) != 3000 {
		t.Errorf("%d levels", len(p.Tide.Table))
	}
	if len(p.Lines) != 64 || len(p.Fenders) != 200 || p.Lines[63].Group != mooring.Stern || p.Lines[63].InboardM != 7 {
		t.Errorf("%d lines, %d fenders, the last line %+v", len(p.Lines), len(p.Fenders), p.Lines[63])
	}
	roundTrip(t, m)
	text, err := planfile.Marshal(m)
	if err != nil || len(text) > planfile.MaxBytes*4/5 {
		t.Errorf("%d bytes spelled out: %v", len(text), err)
	}
}

// leadsSensibly: head and stern lines lead out at about 45 degrees to the quay,
// breasts nearly square to it, springs nearly along it; all hooks are ashore.
// Source: common practice, no source.
func leadsSensibly(t *testing.T, l mooring.Line) {
	t.Helper()
	along, out := l.Hook.X-l.Fairlead.X, l.Fairlead.Y-l.Hook.Y
	angle := math.Atan2(out, math.Abs(along)) * 180 / math.Pi
	low, high := 30.0, 60.0
	switch l.Group {
	case mooring.FwdBreast, mooring.AftBreast:
		low, high = 75, 90
	case mooring.FwdSpring, mooring.AftSpring:
		low, high = 0, 10
	}
	if angle < low || angle > high {
		t.Errorf("line %s (%s) lies at %.0f degrees to the quay", l.ID, l.Group, angle)
	}
	if forward := along > 0; l.Hook.Y >= 0 ||
		(l.Group == mooring.Head || l.Group == mooring.AftSpring) && !forward ||
		(l.Group == mooring.Stern || l.Group == mooring.FwdSpring) && forward {
		t.Errorf("line %s (%s) leads from %v to %v", l.ID, l.Group, l.Fairlead, l.Hook)
	}
}

// TestPlan holds every value of a plan, merged, overridden and defaulted,
// against the text as a person reads it.
func TestPlan(t *testing.T) {
	got, _, err := planfile.Load("testdata/plain.yaml")
	must(t, err)
	first := mooring.Line{
		ID: "1", Group: mooring.Head,
		Fairlead: mooring.Point{X: 44, Y: 5, Z: 7}, Hook: mooring.Point{X: 54, Y: -4, Z: 4.5},
		InboardM: 6, Material: mooring.HMPE, DiameterMM: 24, MBLkN: 350,
		Tail:         &mooring.Tail{Material: mooring.Polyester, LengthM: 8, DiameterMM: 44, MBLkN: 440},
		PretensionKN: 30, MadeFast: mooring.Winch, BrakeRenderKN: 210, BrakeHoldKN: 280, Instrumented: true,
	}
	second := first
	second.ID, second.Group = "2", mooring.Stern
	second.Fairlead, second.Hook = mooring.Point{X: -45, Y: 5, Z: 6}, mooring.Point{X: -55, Y: -4, Z: 4.5}
	want := &mooring.Plan{
		Berth: "grain-quay-1",
		Ship: mooring.Ship{Name: "Tern of Wick", LoaM: 96, BeamM: 15, DisplacementT: 5200,
			SideWindageM2: 700, EndWindageM2: 190},
		Reference:  mooring.Reference{DraftFwdM: 5.1, DraftAftM: 5.6},
		HeadingDeg: 105,
		Fenders: []mooring.Fender{{XM: -20, ZM: 3, StiffnessKNPerM: 1100},
			{XM: 20, ZM: 3, StiffnessKNPerM: 1100}},
		Side: mooring.Port,
		// The defaults are those of the conditions' definition: 0.80 of the
		// working load limit, 30 min, 1.5 times, 0.15, 0.02 and 0.30 of MBL.
		Limits: mooring.Limits{ApproachFraction: 0.80, ApproachMinutes: 30, ImbalanceRatio: 1.5,
			ImbalanceFloor: 0.15, SlackFraction: 0.02, SnapFraction: 0.30, SlipM: 0.08},
		Lines: []mooring.Line{first, second},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got\n%+v\nwant\n%+v", got, want)
	}
}

const fenders = `fenders:
  - {x_m: -20, z_m: 3, stiffness_kN_per_m: 1100}
  - {x_m: 20, z_m: 3, stiffness_kN_per_m: 1100}
`

// TestSpellings changes plain.yaml in one place each, within what may be
// written.
func TestSpellings(t *testing.T) {
	plain, err := os.ReadFile("testdata/plain.yaml")
	must(t, err)
	for _, c := range []struct {
		name, from, to string
		holds          func(p *mooring.Plan) bool
	}{
		{"id keeps its leading zero", "id: 1", "id: 01", func(p *mooring.Plan) bool { return p.Lines[0].ID == "01" }},
		{"id in quotes", "id: 1", `id: "1"`, func(p *mooring.Plan) bool { return p.Lines[0].ID == "1" }},
		{"id that looks like a truth value", "id: 2", "id: true", func(p *mooring.Plan) bool { return p.Lines[1].ID == "true" }},
		{"number without fraction digits", "slip_m: 0.08", "slip_m: 1.", func(p *mooring.Plan) bool { return p.Limits.SlipM == 1 }},
		{"number without a leading zero", "slip_m: 0.08", "slip_m: .5", func(p *mooring.Plan) bool { return p.Limits.SlipM == 0.5 }},
		{"number with exponent and sign", "slip_m: 0.08", "slip_m: +2.5e-1", func(p *mooring.Plan) bool { return p.Limits.SlipM == 0.25 }},
		{"minus zero is zero", "water_level_m: 0", "water_level_m: -0.0", func(p *mooring.Plan) bool { return !math.Signbit(p.Reference.WaterLevelM) }},
		{"no side is starboard", "side: port\n", "", func(p *mooring.Plan) bool { return p.Side == mooring.Starboard }},
		{"no pin", "instrumented: true", "instrumented: false", func(p *mooring.Plan) bool { return !p.Lines[1].Instrumented }},
		{"pin unless stated", "    instrumented: true\n", "", func(p *mooring.Plan) bool { return p.Lines[0].Instrumented && p.Lines[1].Instrumented }},
		{"no limits", "limits:\n  slip_m: 0.08\n", "", func(p *mooring.Plan) bool { return p.Limits == mooring.DefaultLimits() }},
		{"a limit of zero is not absent", "slip_m: 0.08", "imbalance_floor: 0", func(p *mooring.Plan) bool { return p.Limits.ImbalanceFloor == 0 }},
		{"no fenders, said so", fenders, "fenders: []\n", func(p *mooring.Plan) bool { return len(p.Fenders) == 0 }},
		{"earlier of two merged holds", "{<<: *head, id: 2", "{<<: [{inboard_m: 9}, *head, {inboard_m: 8}], id: 2", func(p *mooring.Plan) bool { return p.Lines[1].InboardM == 9 && p.Lines[1].MBLkN == 350 }},
		{"own key holds over merged, wherever it stands", "{<<: *head, id: 2", "{inboard_m: 7, <<: *head, id: 2", func(p *mooring.Plan) bool { return p.Lines[1].InboardM == 7 }},
		{"comment beside a value", "side: port", "side: port # to the grain quay", func(p *mooring.Plan) bool { return p.Side == mooring.Port }},
		{"carriage returns", "\n", "\r\n", func(p *mooring.Plan) bool { return p.Berth == "grain-quay-1" }},
		{"name outside ASCII", "Tern of Wick", "Ærfugl ✦", func(p *mooring.Plan) bool { return p.Ship.Name == "Ærfugl ✦" }},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := strings.ReplaceAll(string(plain), c.from, c.to)
			if text == string(plain) {
				t.Fatalf("plain.yaml has no %q", c.from)
			}
			p, m, err := planfile.Parse("plan.yaml", []byte(text))
			must(t, err)
			if !c.holds(p) {
				t.Errorf("read as %+v", p)
			}
			roundTrip(t, m)
		})
	}
}
