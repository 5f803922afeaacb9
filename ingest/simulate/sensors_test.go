package simulate_test

import (
	"reflect"
	"testing"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/simulate"
)

func TestFaultsOfPins(t *testing.T) {
	p := plan(t, "tanker-12")
	story := still()
	story.Weather = simulate.Weather{WindMS: 12, WindFromDeg: p.HeadingDeg, Turbulence: 0.1, WaveM: 0.5}
	story.Sensors.TensionNoiseKN = 0.5
	sound := run(t, p, story, 40)
	story.Events = []simulate.Event{
		{At: 10 * time.Second, Kind: simulate.Gap, Line: "3", For: 12 * time.Second},
		{At: 10 * time.Second, Kind: simulate.NotANumber, Line: "8", For: 5 * time.Second},
		{At: 10 * time.Second, Kind: simulate.Stuck, Line: "11", For: 20 * time.Second},
	}
	got := run(t, p, story, 40)

	if n := len(got.between(t, "3/tension", 10, 22)); n != 0 {
		t.Errorf("%d readings in the gap", n)
	}
	if n := len(got.between(t, "3/tension", 22, 40)); n != 180 {
		t.Errorf("%d readings after the gap, want 180", n)
	}
	for i, at := range got["8/tension"].Time {
		seconds := float64(at-start.UnixNano()) / 1e9
		bad := got["8/tension"].Quality[i] == reading.Bad
		if bad != (seconds >= 10 && seconds < 15) {
			t.Fatalf("line 8 at %g s: bad is %v", seconds, bad)
		}
	}
	if lo, hi := got.extremes(t, "11/tension", 9.9, 30); lo != hi {
		t.Errorf("stuck between %g and %g kN", lo, hi)
	}
	if lo, hi := got.extremes(t, "11/tension", 30, 40); lo == hi {
		t.Error("stuck for ever")
	}
	for name := range sound {
		if name != "3/tension" && name != "8/tension" && name != "11/tension" && !reflect.DeepEqual(sound[name], got[name]) {
			t.Errorf("%s reads differently because others are at fault", name)
		}
	}
}

func TestStandDown(t *testing.T) {
	got := run(t, plan(t, "tanker-12"), still(
		simulate.Event{At: 3 * time.Second, Kind: simulate.StandDown, For: 4 * time.Second}), 12)
	want := []float64{1, 0, 1, 1} // at 0 s, on both changes, at 10 s
	if !reflect.DeepEqual(got["berth/watch"].Value, want) {
		t.Errorf("watch reads %v, want %v", got["berth/watch"].Value, want)
	}
}

func TestQuantumOfPins(t *testing.T) {
	p := plan(t, "tanker-12")
	story := still()
	story.Sensors = simulate.Sensors{TensionStepKN: 0.5, TensionNoiseKN: 2}
	halves := 0
	for _, v := range run(t, p, story, 20)["1/tension"].Value {
		if v*2 != float64(int(v*2)) {
			t.Fatalf("%v kN in steps of 0.5", v)
		}
		if v != float64(int(v)) {
			halves++
		}
	}
	if halves == 0 {
		t.Error("only whole kN")
	}
}
