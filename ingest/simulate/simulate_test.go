package simulate_test

import (
	"math"
	"reflect"
	"testing"
	"time"

	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/ingest/simulate"
)

func TestBlocksKeepTheirPromises(t *testing.T) {
	p := plan(t, "tanker-12")
	story := simulate.DemoStory(p)
	story.Start = start
	s := begin(t, p, story)
	from := start.UnixNano()
	for n := range 300 {
		b := s.Next()
		to := from + int64(time.Second)
		if b.Sequence != uint64(n+1) || b.CompleteUntil != to-1 {
			t.Fatalf("window %d: sequence %d, complete until %d, want %d", n, b.Sequence, b.CompleteUntil, to-1)
		}
		for i := range b.Series {
			checkSeries(t, &b.Series[i], from, to)
		}
		from = to
	}
}

// checkSeries checks that a series lies in its window, in order, on its grid.
func checkSeries(t *testing.T, c *reading.Series, from, to int64) {
	t.Helper()
	if c.Len() == 0 || len(c.Value) != c.Len() || c.Quality != nil && len(c.Quality) != c.Len() {
		t.Fatalf("%v: %d times, %d values, %d qualities", c.Channel, c.Len(), len(c.Value), len(c.Quality))
	}
	before := from - 1
	for i, at := range c.Time {
		if at <= before || at >= to {
			t.Fatalf("%v: reading at %d after %d in a window to %d", c.Channel, at, before, to)
		}
		before = at
		unit := math.Pow10(int(c.Decimals))
		if v := c.Value[i]; v != math.Round(v*unit)/unit || math.Signbit(v) && v == 0 {
			t.Fatalf("%v: %v is off the grid of %d decimals", c.Channel, v, c.Decimals)
		}
	}
}

func TestRates(t *testing.T) {
	got := run(t, plan(t, "tanker-12"), still(), 60)
	for channel, want := range map[string]int{
		"5/tension": 600, "5/payout": 60, "5/brake": 60, "wind/speed": 60, "wind/direction": 60,
		"water/level": 6, "ship/draft-fwd": 2, "ship/draft-aft": 2, "berth/watch": 6,
	} {
		if got[channel] == nil || got[channel].Len() != want {
			t.Errorf("%s: %v readings in a minute, want %d", channel, got[channel], want)
		}
	}
	if want := 12*3 + 6; len(got) != want {
		t.Errorf("%d channels, want %d", len(got), want)
	}
}

func TestWhatBittsAndMissingPinsDoNotSend(t *testing.T) {
	p := plan(t, "coaster-8") // all on bitts
	p.Lines[2].Instrumented = false
	got := run(t, p, still(), 2)
	for _, absent := range []string{"1/payout", "1/brake", "3/tension"} {
		if got[absent] != nil {
			t.Errorf("%s is sent", absent)
		}
	}
	if got["1/tension"] == nil {
		t.Error("1/tension is missing")
	}
}

func TestSameSeedSameReadings(t *testing.T) {
	p := plan(t, "tanker-12")
	story := simulate.DemoStory(p)
	story.Start = start
	once, again := run(t, p, story, 150), run(t, p, story, 150)
	if !reflect.DeepEqual(once, again) {
		t.Error("the same story reads differently")
	}
	story.Window = 5 * time.Second
	if wide := run(t, p, story, 150); !reflect.DeepEqual(once, wide) {
		t.Error("wider windows read differently")
	}
	story.Seed++
	if other := run(t, p, story, 150); reflect.DeepEqual(once, other) {
		t.Error("another seed reads the same")
	}
}

// TestRestIsEquilibrium lets a gust die away and compares where the ship comes
// to rest with the solver, which knows no time.
func TestRestIsEquilibrium(t *testing.T) {
	p := plan(t, "tanker-12")
	story := still(simulate.Event{Kind: simulate.Gust, For: time.Minute, Value: 6})
	from := math.Mod(p.HeadingDeg+70, 360)
	story.Weather.WindMS, story.Weather.WindFromDeg = 22, from
	got := run(t, p, story, 1500)
	rig := mooring.NewRig(p)
	rest, err := rig.Equilibrium(p.WindForce(22, from), rig.Pretensioned(), mooring.Pose{})
	must(t, err)
	for i, l := range p.Lines {
		_, gusty := got.extremes(t, l.ID+"/tension", 20, 60)
		if l.Group == mooring.FwdBreast && gusty < rest.TensionKN[i]+20 {
			t.Errorf("line %s: the gust brought it to %g kN only", l.ID, gusty)
		}
		if last := got.mean(t, l.ID+"/tension", 1480, 1500); math.Abs(last-rest.TensionKN[i]) > 0.1 {
			t.Errorf("line %s rests at %g kN, equilibrium is %.2f", l.ID, last, rest.TensionKN[i])
		}
	}
}

func TestLoop(t *testing.T) {
	p := plan(t, "tanker-12")
	story := still(simulate.Event{At: 5 * time.Second, Kind: simulate.Tend, Line: "3", Value: 120})
	story.Length, story.Loop = time.Minute, true
	got := run(t, p, story, 180)
	for turn := range 3 {
		from := float64(60 * turn)
		if lo, _ := got.extremes(t, "3/brake", from+5, from+7); lo != 0 {
			t.Errorf("turn %d: the brake is not released", turn)
		}
	}
}

func TestEnd(t *testing.T) {
	story := still()
	story.Length, story.Ends = 3*time.Second, true
	s := begin(t, plan(t, "tanker-12"), story)
	for n := range 3 {
		if s.Next() == nil {
			t.Fatalf("ended after %d windows of 3", n)
		}
	}
	for range 2 {
		if s.Next() != nil {
			t.Error("goes on after its end")
		}
	}
}

func TestNextAllocatesNothing(t *testing.T) {
	p := plan(t, "carrier-20")
	story := simulate.DemoStory(p)
	story.Start, story.Window = start, 10*time.Second
	s := begin(t, p, story)
	for range 30 { // the whole story, so that every column has its length
		s.Next()
	}
	if n := testing.AllocsPerRun(20, func() { s.Next() }); n != 0 {
		t.Errorf("%g allocations a block", n)
	}
}

func BenchmarkNext(b *testing.B) {
	p := plan(b, "carrier-20")
	story := simulate.DemoStory(p)
	story.Start, story.Length, story.Loop = start, 285*time.Second, true
	s := begin(b, p, story)
	b.ReportAllocs()
	samples := 0
	for b.Loop() {
		samples += s.Next().Samples()
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "s/s") // simulated seconds a second
	if per := float64(samples) / float64(b.N); per < 20*12 {
		b.Fatalf("%g samples a second of 20 lines", per)
	}
}
