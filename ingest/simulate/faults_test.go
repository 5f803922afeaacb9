package simulate_test

import (
	"math"
	"testing"
	"time"

	"hawser/ingest/simulate"
)

// TestPinFaults runs each fault of a pin from 60 s to 180 s in a flat calm, where
// a sound pin reads one value throughout.
func TestPinFaults(t *testing.T) {
	const from, until = 60.0, 180.0
	for name, c := range map[string]struct {
		kind  simulate.Kind
		value float64
		check func(t *testing.T, got []float64, calm float64)
	}{
		"spikes": {simulate.Spikes, 90, func(t *testing.T, got []float64, calm float64) {
			n := 0
			for i, v := range got {
				if v == calm {
					continue
				}
				if n++; math.Abs(v-calm-90) > 0.051 || i > 0 && got[i-1] != calm {
					t.Errorf("a spike reads %g from %g", v, calm)
				}
			}
			if n < 10 || n > 30 { // every 4 to 12 s
				t.Errorf("%d spikes in 120 s", n)
			}
		}},
		"out of range": {simulate.OutOfRange, -250, func(t *testing.T, got []float64, _ float64) {
			for _, v := range got {
				if v != -250 {
					t.Fatalf("reads %g", v)
				}
			}
		}},
		"dead": {simulate.Dead, -3, func(t *testing.T, got []float64, _ float64) {
			for _, v := range got {
				if math.Abs(v+3) > 0.051 {
					t.Fatalf("reads %g", v)
				}
			}
		}},
		"flicker": {simulate.Flicker, 0, func(t *testing.T, got []float64, calm float64) {
			steps := map[float64]int{}
			for _, v := range got {
				steps[math.Round(10*(v-calm))]++
			}
			if len(steps) != 2 || steps[0] == 0 || steps[1] == 0 {
				t.Errorf("readings by tenths from the calm: %v", steps)
			}
		}},
		"zero drift": {simulate.ZeroShift, -24, func(t *testing.T, got []float64, calm float64) {
			for i, v := range got { // evenly over 120 s
				if want := calm - 24*float64(i)/float64(len(got)); math.Abs(v-want) > 0.2 {
					t.Fatalf("reading %d is %g, want %g", i, v, want)
				}
			}
		}},
	} {
		t.Run(name, func(t *testing.T) {
			story := still(simulate.Event{At: from * time.Second, Kind: c.kind, Line: "4",
				For: (until - from) * time.Second, Value: c.value})
			got := run(t, plan(t, "tanker-12"), story, 200)
			calm, high := got.extremes(t, "4/tension", 30, from)
			if high-calm > 0.11 {
				t.Fatalf("the calm reads %g to %g", calm, high)
			}
			c.check(t, got.between(t, "4/tension", from, until), calm)
			lo, hi := got.extremes(t, "4/tension", until+1, 200)
			after := calm
			if c.kind == simulate.ZeroShift {
				after += c.value
			}
			if math.Abs(lo-after) > 0.11 || math.Abs(hi-after) > 0.11 {
				t.Errorf("afterwards it reads %g to %g", lo, hi)
			}
		})
	}
}

func TestLinesRunOut(t *testing.T) {
	got := run(t, plan(t, "tanker-12"), still(
		simulate.Event{At: 30 * time.Second, Kind: simulate.Surge, Line: "3", Value: 0.3},
		simulate.Event{At: 30 * time.Second, Kind: simulate.Creep, Line: "9", For: 2 * time.Minute, Value: 0.1}), 300)
	for line, want := range map[string]float64{"3": 0.3, "9": 0.2} {
		if out := got.mean(t, line+"/payout", 200, 300); math.Abs(out-want) > 0.002 {
			t.Errorf("line %s paid out %g m, want %g", line, out, want)
		}
		if lo, _ := got.extremes(t, line+"/brake", 0, 300); lo != 1 {
			t.Errorf("line %s: brake off", line)
		}
		if before, after := got.mean(t, line+"/tension", 10, 30), got.mean(t, line+"/tension", 200, 300); after >= before {
			t.Errorf("line %s goes from %g to %g kN", line, before, after)
		}
	}
}

// TestYield: a bollard that gives eases its line as paying out as much would, and
// the drum has not moved.
func TestYield(t *testing.T) {
	loads := map[simulate.Kind]float64{}
	for _, k := range []simulate.Kind{simulate.Yield, simulate.Surge} {
		got := run(t, plan(t, "tanker-12"), still(simulate.Event{At: 30 * time.Second, Kind: k, Line: "3", Value: 0.3}), 300)
		loads[k] = got.mean(t, "3/tension", 200, 300)
		if out := got.mean(t, "3/payout", 200, 300); k == simulate.Yield && math.Abs(out) > 0.002 {
			t.Errorf("the drum paid out %g m", out)
		}
		if before := got.mean(t, "3/tension", 10, 30); loads[k] > before-5 {
			t.Errorf("%v: line 3 goes from %g to %g kN", k, before, loads[k])
		}
	}
	if math.Abs(loads[simulate.Yield]-loads[simulate.Surge]) > 0.2 {
		t.Errorf("%v", loads)
	}
}

// TestPassingShip: drawn off and then left as she was; a half slack ship on
// fenders is held by friction nowhere in this.
func TestPassingShip(t *testing.T) {
	p := plan(t, "tanker-12")
	got := run(t, p, still(simulate.Event{At: 60 * time.Second, Kind: simulate.Pass, For: 5 * time.Minute, Value: 900}), 1500)
	for _, line := range []string{"3", "9"} { // breasts fore and aft
		before := got.mean(t, line+"/tension", 10, 50)
		if _, most := got.extremes(t, line+"/tension", 150, 300); most < before+10 {
			t.Errorf("line %s feels nothing: %g kN from %g", line, most, before)
		}
		if after := got.mean(t, line+"/tension", 1400, 1500); math.Abs(after-before) > 1 {
			t.Errorf("line %s is left at %g kN of %g", line, after, before)
		}
	}
}

func TestCargoSinksHer(t *testing.T) {
	story := still()
	story.Cargo = simulate.Cargo{FwdMH: 0.6, AftMH: 1.2}
	got := run(t, plan(t, "tanker-12"), story, 1801)
	fwd, aft := got.between(t, "ship/draft-fwd", 0, 1801), got.between(t, "ship/draft-aft", 0, 1801)
	// Half an hour of it, read on two digits.
	if d := fwd[len(fwd)-1] - fwd[0]; math.Abs(d-0.30) > 0.011 {
		t.Errorf("forward by %g m", d)
	}
	if d := aft[len(aft)-1] - aft[0]; math.Abs(d-0.60) > 0.011 {
		t.Errorf("aft by %g m", d)
	}
	if before, after := got.mean(t, "3/tension", 0, 60), got.mean(t, "3/tension", 1740, 1800); after >= before {
		t.Errorf("a breast goes from %g to %g kN as she sinks by the quay", before, after)
	}
}

func TestRatesAndSilence(t *testing.T) {
	for _, hz := range []int{1, 2, 5, 20} {
		story := still()
		story.Sensors.TensionHz, story.Sensors.JitterMS, story.Sensors.DropoutsPerHour = hz, 40, 60
		got := run(t, plan(t, "tanker-12"), story, 600)
		at := got["7/tension"].Time
		if n := len(at); n >= 600*hz || n < 450*hz {
			t.Errorf("%d Hz: %d readings in 600 s with about ten dropouts of 1 to 6 s", hz, n)
		}
		for i := 1; i < len(at); i++ {
			if at[i] <= at[i-1] {
				t.Fatalf("%d Hz: reading %d is not after the one before", hz, i)
			}
			if at[i]-at[i-1] > int64(13*time.Second) {
				t.Errorf("%d Hz: silent for %d s", hz, (at[i]-at[i-1])/1e9)
			}
		}
	}
}
