package detect

import (
	"math"
	"testing"

	"hawser/detect/mooring"
	"hawser/detect/reading"
)

// One wire of twelve is a quarter stronger, and so stiffer, than the plan says. The
// ship sways for a quarter of an hour, her lines' loads by the law. A linear line a
// quarter stiffer seems by its load to stretch a quarter more than the ship moves: its
// ratio to its neighbour's is 1.25. A wire is linear to within a tenth (mooring's
// curves), so it is a little less.
func TestStiffnessRatioIsEstimated(t *testing.T) {
	p := &mooring.Plan{Berth: "b", Limits: mooring.DefaultLimits(),
		Ship: mooring.Ship{LoaM: 180, BeamM: 32, DisplacementT: 50000}}
	for k := range 12 {
		x := 80 - 14*float64(k)
		p.Lines = append(p.Lines, mooring.Line{ID: string(rune('a' + k)), Group: mooring.FwdBreast, Instrumented: true,
			Fairlead: mooring.Point{X: x, Y: 2, Z: 14}, Hook: mooring.Point{X: x + 20*float64(k%3-1), Y: -36, Z: 6},
			InboardM: 14, Material: mooring.SteelWire, DiameterMM: 40, MBLkN: 1000, PretensionKN: 150, MadeFast: mooring.Bitts})
	}
	ship := *p
	ship.Lines = append([]mooring.Line(nil), p.Lines...)
	ship.Lines[5].MBLkN *= 1.25
	rig := mooring.NewRig(&ship)
	lengths := rig.Pretensioned()

	b := New(p)
	const start, seconds = int64(1_772_323_200) * second, 900
	for s := range int64(seconds) {
		at := float64(s)
		pose := mooring.Pose{SurgeM: 0.05 * math.Sin(at/17), SwayM: 0.12 * math.Sin(at/11), YawRad: 0.0008 * math.Sin(at/13)}
		for i := range p.Lines {
			b.Push("a", &reading.Series{Channel: reading.Channel{Line: p.Lines[i].ID, Kind: reading.Tension},
				Time: []int64{start + s*second}, Value: []float64{rig.Law(i).TensionKN(rig.LengthM(i, pose), lengths[i])}})
		}
		b.Advance("a", start+(s+1)*second-1, nil)
	}
	own, other := b.state.Lines[5].Stiffness.Ratio, b.state.Lines[2].Stiffness.Ratio // of like lead
	if own/other < 1.15 || own/other > 1.26 {
		t.Errorf("ratios %.3f and %.3f: %.3f times, want 1.15 to 1.26", own, other, own/other)
	}
	for i := range p.Lines {
		if r := b.state.Lines[i].Stiffness.Ratio / other; i != 5 && math.Abs(r-1) > 0.03 {
			t.Errorf("line %d, as the plan says: %.3f times the other", i, r)
		}
		if d := b.state.Lines[i].Stiffness.sd(&b.state.Lines[i].Fit, 1000); d > 0.06 {
			t.Errorf("line %d: standard deviation still %.3f", i, d)
		}
	}
	if len(b.state.Raised) != 0 {
		t.Errorf("raised: %+v", b.state.Raised)
	}
}
