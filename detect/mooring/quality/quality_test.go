package quality_test

import (
	"fmt"
	"math"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"hawser/detect/mooring"
	"hawser/detect/mooring/quality"
	"hawser/detect/tide"
	"hawser/ingest/planfile"
)

// good is a mooring without a remark: two lines a group, forward and aft alike.
// By hand, each pair's lead from fairlead to hook in metres along, in and down:
//
//	head, stern   30, 30, 5   45.0 degrees off the berth, 6.7 down, 42.72 m
//	breasts        0, 30, 5   square to the ship, 9.5 down, 30.41 m
//	springs       50,  5, 5   5.7 degrees off her side, 5.7 down, 50.50 m
func good() *mooring.Plan {
	p := &mooring.Plan{
		Berth: "inner-2",
		Ship: mooring.Ship{Name: "Osprey of Marl", LoaM: 200, BeamM: 30, DisplacementT: 40000,
			SideWindageM2: 3000, EndWindageM2: 700},
		Reference: mooring.Reference{DraftFwdM: 8, DraftAftM: 8, WaterLevelM: 2},
		Limits:    mooring.DefaultLimits(),
	}
	pair := func(g mooring.Group, fairlead, hook mooring.Point) {
		for range 2 {
			p.Lines = append(p.Lines, mooring.Line{
				ID: fmt.Sprint(len(p.Lines) + 1), Group: g, Fairlead: fairlead, Hook: hook, InboardM: 10,
				Material: mooring.Polyester, DiameterMM: 60, MBLkN: 600, PretensionKN: 60,
				MadeFast: mooring.Winch, BrakeRenderKN: 360, BrakeHoldKN: 480, Instrumented: true,
			})
		}
	}
	pair(mooring.Head, mooring.Point{X: 95, Y: 5, Z: 10}, mooring.Point{X: 125, Y: -25, Z: 5})
	pair(mooring.FwdBreast, mooring.Point{X: 80, Y: 1, Z: 10}, mooring.Point{X: 80, Y: -29, Z: 5})
	pair(mooring.FwdSpring, mooring.Point{X: 60, Y: 0, Z: 10}, mooring.Point{X: 10, Y: -5, Z: 5})
	pair(mooring.AftSpring, mooring.Point{X: -60, Y: 0, Z: 10}, mooring.Point{X: -10, Y: -5, Z: 5})
	pair(mooring.AftBreast, mooring.Point{X: -80, Y: 1, Z: 10}, mooring.Point{X: -80, Y: -29, Z: 5})
	pair(mooring.Stern, mooring.Point{X: -95, Y: 5, Z: 10}, mooring.Point{X: -125, Y: -25, Z: 5})
	return p
}

// mirrored is the same mooring with bow and stern changed round.
func mirrored(p *mooring.Plan) *mooring.Plan {
	q := *p
	q.Reference.DraftFwdM, q.Reference.DraftAftM = p.Reference.DraftAftM, p.Reference.DraftFwdM
	q.Lines = slices.Clone(p.Lines)
	for i := range q.Lines {
		l := &q.Lines[i]
		l.Group = mooring.Head + mooring.Stern - l.Group
		l.Fairlead.X, l.Hook.X = -l.Fairlead.X, -l.Hook.X
	}
	return &q
}

// Indices of the first line of each pair of good.
const (
	head, fwdBreast, fwdSpring, aftSpring, aftBreast, stern = 0, 2, 4, 6, 8, 10
)

func wire(l *mooring.Line) { l.Material, l.DiameterMM = mooring.SteelWire, 32 }

func only(lines []mooring.Line, not ...mooring.Group) []mooring.Line {
	return slices.DeleteFunc(slices.Clone(lines), func(l mooring.Line) bool { return slices.Contains(not, l.Group) })
}

// TestRules spoils the good mooring for each rule, a little beyond its figure
// and a little within it. Each is mirrored as well: bow and stern are alike to
// every rule.
func TestRules(t *testing.T) {
	fired := map[string]bool{}
	for _, c := range []struct {
		rule, name string
		spoil      func(p *mooring.Plan)
		water      *quality.Water
		want       string // "severity lines text"; empty where it must not be remarked
	}{
		{"wrong-end", "head line from aft", func(p *mooring.Plan) { p.Lines[head].Fairlead.X = -5; p.Lines[head].Hook.X = 25 }, nil,
			"serious 1 fairlead 5 m on the wrong side of amidships for the group"},
		{"wrong-end", "spring near amidships", func(p *mooring.Plan) { p.Lines[fwdSpring].Fairlead.X = 0.5 }, nil, ""},
		{"wrong-way", "head line led aft", func(p *mooring.Plan) { p.Lines[head+1].Hook.X = 65 }, nil,
			"serious 2 led 30 m aft, where the group leads forward"},
		{"wrong-way", "forward spring led forward", func(p *mooring.Plan) { p.Lines[fwdSpring].Hook.X = 90 }, nil,
			"serious 5 led 30 m forward, where the group leads aft"},
		{"wrong-way", "breast led forward", func(p *mooring.Plan) { p.Lines[fwdBreast].Hook.X = 85 }, nil, ""},
		// 4 m off in 50 along: 4.6 degrees outward; 2 m: 2.3.
		{"off-berth", "spring to a buoy", func(p *mooring.Plan) { p.Lines[fwdSpring].Hook.Y = 4 }, nil,
			"serious 5 hook 4 m farther off the berth than the fairlead, and the pull is off the berth"},
		{"off-berth", "spring along her side", func(p *mooring.Plan) { p.Lines[fwdSpring].Hook.Y = 2 }, nil, ""},
		{"off-ship", "fairlead ashore", func(p *mooring.Plan) { p.Lines[fwdBreast].Fairlead.Y = -1 }, nil,
			"serious 3 fairlead 1 m inside the fender face, where there is no ship"},
		{"off-ship", "fairlead beyond her far side", func(p *mooring.Plan) { p.Lines[fwdBreast].Fairlead.Y = 32 }, nil,
			"serious 3 fairlead 2 m beyond her far side"},
		{"off-ship", "fairlead at her far side", func(p *mooring.Plan) { p.Lines[head].Fairlead.Y = 30.4 }, nil, ""},
		{"off-ship", "longer than she is", func(p *mooring.Plan) { p.Lines[head].Fairlead.X = 110 }, nil,
			"serious  the fairleads reach over 205 m, and she is 200 m long"},

		// arctan(9/30) = 16.7 degrees, arctan(7.5/30) = 14.0.
		{"breast-angle", "9 m along in 30", func(p *mooring.Plan) { p.Lines[fwdBreast].Hook.X = 89 }, nil,
			"poor 3 16.7° off square to the ship, over 15°"},
		{"breast-angle", "7.5 m along in 30", func(p *mooring.Plan) { p.Lines[fwdBreast].Hook.X = 87.5 }, nil, ""},
		// arctan(12/30) = 21.8 degrees.
		{"breast-angle", "both", func(p *mooring.Plan) { p.Lines[fwdBreast].Hook.X = 89; p.Lines[fwdBreast+1].Hook.X = 68 }, nil,
			"poor 3,4 16.7 to 21.8° off square to the ship, over 15°"},
		// arctan(9/50) = 10.2 degrees, arctan(8.5/50) = 9.6.
		{"spring-angle", "9 m in, in 50", func(p *mooring.Plan) { p.Lines[fwdSpring].Hook.Y = -9 }, nil,
			"poor 5 10.2° off the ship's side, over 10°"},
		{"spring-angle", "8.5 m in, in 50", func(p *mooring.Plan) { p.Lines[fwdSpring].Hook.Y = -8.5 }, nil, ""},
		// arctan(30/10) = 71.6 degrees, arctan(30/90) = 18.4, arctan(30/12) = 68.2.
		{"end-angle", "head line nearly a breast", func(p *mooring.Plan) { p.Lines[head].Hook.X = 105 }, nil,
			"note 1 71.6° off the berth line, as a breast would be"},
		{"end-angle", "head line nearly a spring", func(p *mooring.Plan) { p.Lines[head].Hook.X = 185 }, nil,
			"note 1 only 18.4° off the berth line, as a spring would be"},
		{"end-angle", "head line within", func(p *mooring.Plan) { p.Lines[head].Hook.X = 107 }, nil, ""},
		// arctan(5/10) = 26.6 degrees, arctan(5/11) = 24.4; with 3 m of water more
		// arctan(8/15) = 28.1 and arctan(8/18) = 24.0.
		{"down-angle", "10 m from the hook", func(p *mooring.Plan) { p.Lines[fwdBreast].Hook.Y = -9 }, nil,
			"poor 3 26.6° below the horizontal at the plan's water level, over 25°"},
		{"down-angle", "11 m from the hook", func(p *mooring.Plan) { p.Lines[fwdBreast].Hook.Y = -10 }, nil, ""},
		{"down-angle", "15 m from the hook, at high water", func(p *mooring.Plan) { p.Lines[fwdBreast].Hook.Y = -14 }, &quality.Water{LowM: 0, HighM: 5},
			"poor 3 28.1° below the horizontal at the highest water, over 25°"},
		{"down-angle", "18 m from the hook, at high water", func(p *mooring.Plan) { p.Lines[fwdBreast].Hook.Y = -17 }, &quality.Water{LowM: 0, HighM: 5}, ""},

		{"tail-strength", "tail weaker than the line", func(p *mooring.Plan) {
			p.Lines[head].Tail = &mooring.Tail{Material: mooring.Polyamide, LengthM: 11, DiameterMM: 60, MBLkN: 570}
		}, nil,
			"serious 1 tail of only 95 % of MBL, weaker than the line"},
		{"tail-strength", "tail hardly stronger", func(p *mooring.Plan) {
			p.Lines[head].Tail = &mooring.Tail{Material: mooring.Polyamide, LengthM: 11, DiameterMM: 60, MBLkN: 720}
		}, nil,
			"poor 1 tail of 120 % of MBL, under 125 %"},
		{"tail-strength", "tail as advised", func(p *mooring.Plan) {
			p.Lines[head].Tail = &mooring.Tail{Material: mooring.Polyamide, LengthM: 11, DiameterMM: 60, MBLkN: 750}
		}, nil, ""},
		{"no-tail", "wire", func(p *mooring.Plan) { wire(&p.Lines[fwdSpring]) }, nil, "note 5 steel-wire without a tail, 60.5 m long"},
		{"no-tail", "wire with a tail", func(p *mooring.Plan) {
			wire(&p.Lines[fwdSpring])
			p.Lines[fwdSpring].Tail = &mooring.Tail{Material: mooring.Polyamide, LengthM: 11, DiameterMM: 70, MBLkN: 780}
		}, nil, ""},
		// Wire of 40.41 m, 2 % at break, T/MBL = 0.9 s + 0.1 s²: s = 0.1098 at 10 %
		// and 0.5744 at 55 %, strains 0.2196 and 1.1489 %, of 40.33 m: 0.375 m.
		{"little-give", "short wire", func(p *mooring.Plan) { wire(&p.Lines[fwdBreast]) }, nil,
			"poor 3 at the working load limit when drawn out by 0.375 m, under 0.5 m"},
		{"little-give", "wire of 60 m", func(p *mooring.Plan) { wire(&p.Lines[fwdBreast]); p.Lines[fwdBreast].InboardM = 30 }, nil, ""},
		// 35 t at 50 mm is 494 kN at 60 mm: 600 kN is 121 % of it. At 188 mm, the
		// circumference of 60, it is 4853 kN.
		{"strength-for-size", "circumference for diameter", func(p *mooring.Plan) { p.Lines[head].DiameterMM = 188.5 }, nil,
			"serious 1 stated MBL is 12.3 % of what goes with diameter and material; look at the units"},
		// 44 t at 50 mm is 621 kN at 60 mm, 528 wet.
		{"strength-for-size", "tail in tonnes", func(p *mooring.Plan) {
			p.Lines[head].Tail = &mooring.Tail{Material: mooring.Polyamide, LengthM: 11, DiameterMM: 60, MBLkN: 76}
		}, nil,
			"serious 1 the tail's stated MBL is 14.4 % of what goes with diameter and material; look at the units"},
		{"strength-for-size", "strong for its size", func(p *mooring.Plan) { p.Lines[head].DiameterMM = 48 }, nil, ""},
		// Of 60 mm: 330 mm is 5.5 times, 360 is 6; of 32 mm: 360 is 11.25, 384 is 12.
		{"bend", "sharp", func(p *mooring.Plan) { p.Lines[head].FairleadDiameterMM = 330 }, nil,
			"note 1 bent over 5.5 times the diameter at the fairlead, under 6"},
		{"bend", "wide", func(p *mooring.Plan) { p.Lines[head].FairleadDiameterMM = 360 }, nil, ""},
		{"bend", "wire, sharp", func(p *mooring.Plan) { wire(&p.Lines[head]); p.Lines[head].FairleadDiameterMM = 360 }, nil,
			"note 1 bent over 11.2 times the diameter at the fairlead, under 12"},
		{"bend", "wire, wide", func(p *mooring.Plan) { wire(&p.Lines[head]); p.Lines[head].FairleadDiameterMM = 384 }, nil, ""},
		{"limit-raised", "0.60", func(p *mooring.Plan) { p.Limits.WorkingLoadFraction = 0.60 }, nil,
			"poor  the plan sets the working load limit to 60 % of MBL, over 50 % (55 % for steel wire)"},
		{"limit-raised", "0.55 of wire", func(p *mooring.Plan) {
			p.Limits.WorkingLoadFraction = 0.55
			for i := range p.Lines {
				wire(&p.Lines[i])
			}
		}, nil, ""},
		{"limit-raised", "0.45", func(p *mooring.Plan) { p.Limits.WorkingLoadFraction = 0.45 }, nil, ""},

		{"brake-setting", "tight", func(p *mooring.Plan) { p.Lines[head].BrakeRenderKN = 420 }, nil,
			"poor 1 brake set to render at 70 % of MBL, over 60 %"},
		{"brake-setting", "past its design", func(p *mooring.Plan) { p.Lines[head].BrakeRenderKN = 540 }, nil,
			"serious 1 brake set to render at 90 % of MBL; at 60 % the drum gives before the line parts"},
		{"brake-setting", "loose", func(p *mooring.Plan) { p.Lines[head].BrakeRenderKN = 240 }, nil,
			"poor 1 brake set to render at 40 % of MBL, under the working load limit"},
		{"brake-setting", "for a weaker tail", func(p *mooring.Plan) {
			p.Lines[head].Tail = &mooring.Tail{Material: mooring.Polyamide, LengthM: 11, DiameterMM: 60, MBLkN: 450}
		}, nil,
			"serious 1 brake set to render at 80 % of MBL; at 60 % the drum gives before the line parts"},
		{"brake-setting", "0.64", func(p *mooring.Plan) { p.Lines[head].BrakeRenderKN = 384 }, nil, ""},
		{"brake-setting", "on bitts", func(p *mooring.Plan) { p.Lines[head].MadeFast, p.Lines[head].BrakeRenderKN = mooring.Bitts, 0 }, nil, ""},
		{"brake-hold", "weak", func(p *mooring.Plan) { p.Lines[head].BrakeHoldKN = 420 }, nil, "poor 1 brake designed to hold 70 % of MBL, under 80 %"},
		{"brake-hold", "set beyond it", func(p *mooring.Plan) { p.Lines[head].BrakeHoldKN = 330 }, nil,
			"serious 1 brake set to render over the 55 % of MBL that it is designed to hold"},
		{"brake-hold", "not stated", func(p *mooring.Plan) { p.Lines[head].BrakeHoldKN = 0 }, nil, ""},
		{"brake-unknown", "not stated", func(p *mooring.Plan) { p.Lines[head].BrakeHoldKN = 0; p.Lines[stern].BrakeHoldKN = 0 }, nil,
			"note 1,11 what the brake is designed to hold is not stated"},
		{"brake-unknown", "on bitts", func(p *mooring.Plan) { p.Lines[head].BrakeHoldKN, p.Lines[head].MadeFast = 0, mooring.Bitts }, nil, ""},

		{"mixed-group", "materials", func(p *mooring.Plan) { p.Lines[head].Material = mooring.Polyamide }, nil,
			"poor 1,2 unlike, so the load is not shared evenly: polyamide and polyester"},
		{"mixed-group", "one tail, other strength", func(p *mooring.Plan) {
			p.Lines[head].Tail = &mooring.Tail{Material: mooring.Polyamide, LengthM: 11, DiameterMM: 70, MBLkN: 850}
			p.Lines[head].MBLkN = 680
		}, nil, "poor 1,2 unlike, so the load is not shared evenly: a tail of 11 m polyamide and no tail; MBL from 600 to 680 kN"},
		{"mixed-group", "strengths within a tenth", func(p *mooring.Plan) { p.Lines[head].MBLkN = 650 }, nil, ""},
		{"mixed-group", "another group's material", func(p *mooring.Plan) {
			p.Lines[head].Material, p.Lines[head+1].Material = mooring.MixedFibre, mooring.MixedFibre
		}, nil, ""},
		// 42.72 + 10 and + 26.5 m: 1.31 times; + 25: 1.28.
		{"unequal-length", "26.5 m inboard", func(p *mooring.Plan) { p.Lines[head].InboardM = 26.5 }, nil, "poor 1,2 from 53 to 69 m long, over 1.3 times"},
		{"unequal-length", "25 m inboard", func(p *mooring.Plan) { p.Lines[head].InboardM = 25 }, nil, ""},
		{"unequal-pretension", "15 and 10 %", func(p *mooring.Plan) { p.Lines[head].PretensionKN = 90 }, nil, "poor 1,2 set to between 10 and 15 % of MBL"},
		{"unequal-pretension", "13 and 10 %", func(p *mooring.Plan) { p.Lines[head].PretensionKN = 77 }, nil, ""},
		{"pretension-level", "slack", func(p *mooring.Plan) { p.Lines[head].PretensionKN = 27 }, nil, "poor 1 set to only 4.5 % of MBL, under 5 %"},
		{"pretension-level", "tight", func(p *mooring.Plan) { p.Lines[head].PretensionKN = 156 }, nil, "poor 1 set to 26 % of MBL, over 25 %"},
		{"pretension-level", "over the limit", func(p *mooring.Plan) { p.Lines[head].PretensionKN = 312 }, nil, "serious 1 set to 52 % of MBL, over the working load limit"},
		{"pretension-level", "firm", func(p *mooring.Plan) { p.Lines[head].PretensionKN = 144 }, nil, ""},

		// Across, a pair of 300 kN each: 30/42.72, 30/30.41 and 5/50.50 of it, 1073 kN
		// together; half that where MBL is 300.
		{"balance-across", "weaker aft", func(p *mooring.Plan) {
			for i := aftSpring; i < len(p.Lines); i++ {
				p.Lines[i].MBLkN = 300
			}
		}, nil, "poor  lines hold her alongside at the bow with 1073 kN and at the stern with 536 kN, over 1.5 times"},
		{"balance-across", "a little weaker aft", func(p *mooring.Plan) {
			for i := aftSpring; i < len(p.Lines); i++ {
				p.Lines[i].MBLkN = 420
			}
		}, nil, ""},
		{"balance-across", "nothing aft", func(p *mooring.Plan) {
			p.Lines = only(p.Lines, mooring.AftSpring, mooring.AftBreast, mooring.Stern)
			p.Lines = append(p.Lines, mooring.Line{ID: "7", Group: mooring.AftSpring, Fairlead: mooring.Point{X: -60, Z: 10}, Hook: mooring.Point{X: -10, Z: 5}, InboardM: 10,
				Material: mooring.Polyester, DiameterMM: 60, MBLkN: 600, PretensionKN: 60, MadeFast: mooring.Bitts})
		}, nil, "serious  no line holds her alongside at the stern"},
		// Along, a pair: stern 30/42.72 of 600 kN, 421; springs 50/50.50, 594.
		{"balance-along", "one spring pair", func(p *mooring.Plan) { p.Lines = only(p.Lines, mooring.FwdSpring) }, nil,
			"poor  lines hold her from moving ahead with 421 kN and from moving astern with 1015 kN, over 1.5 times"},
		{"balance-along", "nothing against moving ahead", func(p *mooring.Plan) { p.Lines = only(p.Lines, mooring.FwdSpring, mooring.Stern) }, nil,
			"serious  no line holds her from moving ahead"},
		{"balance-along", "breasts only", func(p *mooring.Plan) {
			p.Lines = only(p.Lines, mooring.Head, mooring.FwdSpring, mooring.AftSpring, mooring.Stern)
		}, nil, "serious  no line holds her from moving ahead or from moving astern"},
		{"balance-along", "one spring less", func(p *mooring.Plan) { p.Lines = slices.Delete(p.Lines, fwdSpring, fwdSpring+1) }, nil, ""},
		{"missing-group", "no forward spring", func(p *mooring.Plan) { p.Lines = only(p.Lines, mooring.FwdSpring) }, nil, "poor  there is no forward spring"},
		{"missing-group", "no aft spring", func(p *mooring.Plan) { p.Lines = only(p.Lines, mooring.AftSpring) }, nil, "poor  there is no aft spring"},
		{"missing-group", "no forward breast", func(p *mooring.Plan) { p.Lines = only(p.Lines, mooring.FwdBreast) }, nil,
			"note  there is no breast line forward; head lines alone hold the bow alongside"},
		{"missing-group", "no aft breast", func(p *mooring.Plan) { p.Lines = only(p.Lines, mooring.AftBreast) }, nil,
			"note  there is no breast line aft; stern lines alone hold the stern alongside"},
		{"missing-group", "breasts and springs only", func(p *mooring.Plan) { p.Lines = only(p.Lines, mooring.Head, mooring.Stern) }, nil, ""},
		// 0.00083 × 6000 + 4 = 8.98, × 5400 = 8.48.
		{"few-lines", "6000 m²", func(p *mooring.Plan) { p.Ship.SideWindageM2 = 6000 }, nil,
			"poor  8 head, breast and stern lines, and a ship of 6000 m² side area carries 9 or more"},
		{"few-lines", "5400 m²", func(p *mooring.Plan) { p.Ship.SideWindageM2 = 5400 }, nil, ""},

		// Wire, 3 m of water more: 30.41 m grows to 31.05, strain 1.793 %, s = 0.8965:
		// 88.7 %. 1 m more: 30.59 m, strain 0.656 %, s = 0.328: 30.6 %. 3 m less: 30.07
		// m, 0.26 m less than the line has at no load: it hangs by its weight of 0.0412
		// kN/m, and pulls by the parabola 0.0412 × 30.07 √(30.07/(24 × 0.263)) = 2.7 kN.
		{"tide-load", "wire", func(p *mooring.Plan) { wire(&p.Lines[fwdBreast]) }, &quality.Water{LowM: -1, HighM: 5},
			"poor 3 88.7 % of MBL at the highest water if nobody tends it, over the working load limit"},
		{"tide-load", "wire from below the hook", func(p *mooring.Plan) { wire(&p.Lines[fwdBreast]); p.Lines[fwdBreast].Hook.Z = 15 }, &quality.Water{LowM: -1, HighM: 5},
			"poor 3 88.7 % of MBL at the lowest water if nobody tends it, over the working load limit"},
		{"tide-load", "wire in a small tide", func(p *mooring.Plan) { wire(&p.Lines[fwdBreast]) }, &quality.Water{LowM: 1, HighM: 3}, ""},
		{"tide-load", "no tide", func(p *mooring.Plan) { wire(&p.Lines[fwdBreast]) }, nil, ""},
		{"tide-slack", "wire", func(p *mooring.Plan) { wire(&p.Lines[fwdBreast]) }, &quality.Water{LowM: -1, HighM: 2},
			"note 3 slack at the lowest water if nobody tends it: 0.45 % of MBL"},
		{"tide-slack", "polyester", func(p *mooring.Plan) {}, &quality.Water{LowM: -1, HighM: 2}, ""},

		// 200 × 30 × 8 × 1.025 = 49200 t.
		{"displacement", "too heavy", func(p *mooring.Plan) { p.Ship.DisplacementT = 49200 }, nil,
			"note  49200 t is 1.00 of the box of her length, beam and mean draft; length, beam, draft or displacement is off"},
		{"displacement", "too light", func(p *mooring.Plan) { p.Ship.DisplacementT = 4000 }, nil,
			"note  4000 t is 0.08 of the box of her length, beam and mean draft; length, beam, draft or displacement is off"},
		{"displacement", "fine lines", func(p *mooring.Plan) { p.Ship.DisplacementT = 24600 }, nil, ""},
		// 200² = 40000, 30² = 900.
		{"windage", "a digit short", func(p *mooring.Plan) { p.Ship.SideWindageM2 = 320 }, nil,
			"note  side windage of 320 m² is 0.008 of her length squared; windage or length is off, and with it every figure of the wind"},
		{"windage", "a digit too many", func(p *mooring.Plan) { p.Ship.EndWindageM2 = 9000 }, nil,
			"note  end windage of 9000 m² is 10 of her beam squared; windage or beam is off, and with it every figure of the wind"},
		{"windage", "laden", func(p *mooring.Plan) { p.Ship.SideWindageM2, p.Ship.EndWindageM2 = 1000, 300 }, nil, ""},
		{"no-pin", "two lines", func(p *mooring.Plan) {
			p.Lines[head].Instrumented, p.Lines[aftBreast].Instrumented = false, false
		}, nil, "note 1,9 no load pin"},
		{"no-pin", "none", func(p *mooring.Plan) {}, nil, ""},
		{"no-rope", "two without", func(p *mooring.Plan) {
			for i := range p.Lines {
				p.Lines[i].Rope = "R-" + p.Lines[i].ID
			}
			p.Lines[head].Rope, p.Lines[aftBreast].Rope = "", ""
		}, nil, "note 1,9 its rope is not stated"},
		{"no-rope", "none stated", func(p *mooring.Plan) {}, nil, ""},
		{"water-off-tide", "over high water", func(p *mooring.Plan) {}, &quality.Water{LowM: 0, HighM: 1.9},
			"note  the reference water level of 2.0 m lies outside the plan's tide, 0.0 to 1.9 m"},
		{"water-off-tide", "at high water", func(p *mooring.Plan) {}, &quality.Water{LowM: 0, HighM: 2}, ""},
	} {
		t.Run(c.rule+"/"+c.name, func(t *testing.T) {
			p := good()
			c.spoil(p)
			var got []string
			for _, r := range quality.Check(p, c.water) {
				if r.Rule.Name == c.rule {
					got = append(got, fmt.Sprintf("%s %s %s", r.Severity, strings.Join(r.Lines, ","), r.Text))
				}
			}
			switch {
			case c.want == "" && got != nil:
				t.Errorf("remarks %q", got)
			case c.want != "" && !slices.Contains(got, c.want):
				t.Errorf("remarks %q\nwant     %q", got, c.want)
			}
			fired[c.rule] = fired[c.rule] || c.want != ""
			if a, b := severities(p, c.water), severities(mirrored(p), c.water); !reflect.DeepEqual(a, b) {
				t.Errorf("bow and stern changed round: %v\nwas %v", b, a)
			}
		})
	}
	for _, r := range quality.Rules() {
		if !fired[r.Name] {
			t.Errorf("rule %s was never made to speak", r.Name)
		}
		if len(r.Says) < 40 || !strings.HasSuffix(r.Says, ".") || r.Source == "" || strings.HasSuffix(r.Source, ".") {
			t.Errorf("rule %s says %q, from %q", r.Name, r.Says, r.Source)
		}
	}
}

// severities are how often each rule speaks, and how severely.
func severities(p *mooring.Plan, water *quality.Water) map[string]int {
	out := map[string]int{}
	for _, r := range quality.Check(p, water) {
		out[r.Rule.Name+" "+r.Severity.String()]++
	}
	return out
}

func TestGoodMooring(t *testing.T) {
	for _, water := range []*quality.Water{nil, {LowM: 0.5, HighM: 3.5}} {
		for _, r := range quality.Check(good(), water) {
			t.Errorf("%s: %v: %s", r.Rule.Name, r.Lines, r.Text)
		}
	}
}

// TestMostSeriousFirst: people read from the top.
func TestMostSeriousFirst(t *testing.T) {
	p := good()
	p.Ship.DisplacementT = 4000        // note
	p.Lines[head].PretensionKN = 20    // poor
	p.Lines[stern].BrakeRenderKN = 600 // serious
	var got []quality.Severity
	for _, r := range quality.Check(p, nil) {
		got = append(got, r.Severity)
	}
	if !slices.IsSortedFunc(got, func(a, b quality.Severity) int { return int(b) - int(a) }) ||
		got[0] != quality.Serious || got[len(got)-1] != quality.Note {
		t.Errorf("in the order %v", got)
	}
}

// TestSharedPlans: the invented ships are moored as ships are, and a mooring
// master finds little to say.
func TestSharedPlans(t *testing.T) {
	for file, want := range map[string][]string{
		"carrier-20.yaml": nil,
		"coaster-8.yaml":  nil,
		"tanker-12.yaml":  {"tide-slack note 3,4"},
	} {
		p, _, err := planfile.Load(filepath.Join("../../../testdata/plans", file))
		if err != nil {
			t.Fatal(err)
		}
		var water *quality.Water
		if p.Tide != nil {
			curve, err := tide.New(p.Tide)
			if err != nil {
				t.Fatal(err)
			}
			low, high := curve.Extremes()
			water = &quality.Water{LowM: low, HighM: high}
		}
		var got []string
		for _, r := range quality.Check(p, water) {
			got = append(got, fmt.Sprintf("%s %s %s", r.Rule.Name, r.Severity, strings.Join(r.Lines, ",")))
			if strings.Contains(r.Text, "%!") || strings.Contains(r.Text, "NaN") {
				t.Errorf("%s: %s", file, r.Text)
			}
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: %q, want %q", file, got, want)
		}
	}
}

// TestAnyNumbers: a plan in range but out of all sense gets remarks, not a
// panic and not a figure that is none.
func TestAnyNumbers(t *testing.T) {
	for _, extreme := range []float64{1e-3, 1, 900} {
		p := good()
		for i := range p.Lines {
			l := &p.Lines[i]
			l.Fairlead, l.Hook = mooring.Point{X: extreme, Y: extreme, Z: -extreme}, mooring.Point{X: -extreme, Y: math.Pi * extreme}
			l.InboardM, l.DiameterMM, l.MBLkN, l.PretensionKN = 0, extreme/3, extreme, extreme*0.99
			l.Tail = &mooring.Tail{Material: mooring.Polyamide, LengthM: 100, DiameterMM: 1, MBLkN: extreme / 9}
		}
		remarks := quality.Check(p, &quality.Water{LowM: -30, HighM: 30})
		if len(remarks) == 0 {
			t.Errorf("%g: no remarks", extreme)
		}
		for _, r := range remarks {
			if strings.Contains(r.Text, "NaN") || strings.Contains(r.Text, "Inf") || strings.Contains(r.Text, "e+") || strings.Contains(r.Text, "%!") {
				t.Errorf("%g: %s", extreme, r.Text)
			}
		}
	}
}
