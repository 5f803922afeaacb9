package detect_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"hawser/detect"
	"hawser/detect/reading"

	"pgregory.net/rapid"
)

// eventful is a minute or two of a mooring in which much goes on: levels that
// jump about, some near limits, gaps, bad readings, brakes that open.
func eventful(t *rapid.T, lines int, seconds int) []fact {
	seed := rapid.Uint64().Draw(t, "seed")
	r := rand.New(rand.NewPCG(seed, 1))
	var facts []fact
	for i := range lines {
		id := fmt.Sprint(i + 1)
		period := []int64{50e6, 100e6, 200e6, 500e6, 1000e6}[r.IntN(5)]
		level, until := 100.0, start
		for at := start + r.Int64N(period); at < start+int64(seconds)*second; at += period {
			if at >= until {
				level = []float64{0, 60, 100, 150, 330, 400}[r.IntN(6)]
				until = at + r.Int64N(25*second)
				if r.IntN(8) == 0 {
					at += r.Int64N(20 * second)
				}
			}
			v := math.Round(2*(level+3*r.NormFloat64())) / 2
			if r.IntN(200) == 0 {
				v = math.NaN()
			}
			facts = append(facts, fact{tension(id), at, v})
		}
		out, set := 0.0, 1.0
		for at := start + r.Int64N(second); at < start+int64(seconds)*second; at += second {
			if r.IntN(20) == 0 {
				out += 0.1
			}
			if r.IntN(30) == 0 {
				set = 1 - set
			}
			facts = append(facts, fact{payout(id), at, out}, fact{brake(id), at, set})
		}
	}
	return facts
}

// Any cut into blocks, any order within the lateness and any number of sources
// gives the same changes, so long as no promise is broken.
func TestOrderDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lines := rapid.IntRange(1, 8).Draw(t, "lines")
		plan := ship(lines)
		facts := eventful(t, lines, 90)
		// every fact is delayed by up to 4.9 s of event time on its way
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "way"), 2))
		type parcel struct {
			fact
			arrival int64
			source  int
		}
		sources := rapid.IntRange(1, 3).Draw(t, "sources")
		var parcels []parcel
		for _, f := range facts {
			parcels = append(parcels, parcel{f, f.time + r.Int64N(49*second/10), r.IntN(sources)})
		}
		slices.SortStableFunc(parcels, func(a, b parcel) int {
			return int(min(max(a.arrival-b.arrival, -1), 1))
		})
		b := detect.New(plan)
		var got []detect.Change
		for s := range sources {
			got = b.Advance(fmt.Sprint(s), start-1, got)
		}
		for len(parcels) > 0 {
			n := min(1+r.IntN(400), len(parcels))
			now := parcels[n-1].arrival
			var of [3][]fact
			for _, p := range parcels[:n] {
				of[p.source] = append(of[p.source], p.fact)
			}
			parcels = parcels[n:]
			for s := range sources {
				push(b, fmt.Sprint(s), of[s])
			}
			for s := range sources {
				// the truth about what is to come from this source; none is ahead
				// of the arrivals
				until := now
				for _, p := range parcels {
					if p.source == s {
						until = min(until, p.time-1)
					}
				}
				got = b.Advance(fmt.Sprint(s), until, got)
			}
		}
		// both runs end at the same time
		until := start + 200*second
		for s := range sources {
			got = b.Advance(fmt.Sprint(s), until, got)
		}
		want, whole := replay(plan, facts)
		want = whole.Advance("a", until, want)
		if b.Oddities().Late != 0 {
			t.Fatalf("%d late in a run that kept its promises", b.Oddities().Late)
		}
		if text(got) != text(want) {
			t.Fatalf("got\n%s\nwant\n%s", text(got), text(want))
		}
	})
}

// A snapshot at any block, taken on by another berth, goes on with the same
// changes.
func TestSnapshotGoesOn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lines := rapid.IntRange(1, 8).Draw(t, "lines")
		plan := ship(lines)
		facts := eventful(t, lines, 90)
		slices.SortStableFunc(facts, func(a, b fact) int { return int(min(max(a.time-b.time, -1), 1)) })
		cut := rapid.IntRange(0, len(facts)).Draw(t, "cut")
		run := func(broken bool) []detect.Change {
			b := detect.New(plan)
			push(b, "a", facts[:cut])
			var out []detect.Change
			if cut > 0 {
				out = b.Advance("a", facts[cut-1].time-second, out)
			}
			if broken {
				p, err := b.Snapshot()
				if err != nil {
					t.Fatal(err)
				}
				active := text(b.Active())
				if b, err = detect.Restore(plan, p); err != nil {
					t.Fatal(err)
				}
				if text(b.Active()) != active {
					t.Fatalf("active alarms differ after restore: %s", text(b.Active()))
				}
			}
			push(b, "a", facts[cut:])
			return b.Advance("a", start+200*second, out)
		}
		if got, want := text(run(true)), text(run(false)); got != want {
			t.Fatalf("got\n%s\nwant\n%s", got, want)
		}
	})
}

// A snapshot is refused in whole when it is not this berth's.
func TestRestoreRefuses(t *testing.T) {
	good, err := detect.New(ship(3)).Snapshot()
	if err != nil {
		t.Fatal(err)
	}
	flipped := func(i int) []byte { p := slices.Clone(good); p[i] ^= 1; return p }
	limits := ship(3)
	limits.Limits.SlipM = 0.1
	for name, c := range map[string]struct {
		p    []byte
		plan int
	}{
		"empty": {nil, 3}, "torn": {good[:len(good)-1], 3}, "version": {flipped(5), 3},
		"damaged": {flipped(len(good) / 2), 3}, "other plan": {good, 4},
	} {
		if _, err := detect.Restore(ship(c.plan), c.p); !errors.Is(err, detect.ErrSnapshot) {
			t.Errorf("%s: error %v, want one that is ErrSnapshot", name, err)
		}
	}
	if _, err := detect.Restore(limits, good); !errors.Is(err, detect.ErrSnapshot) {
		t.Errorf("other limits: error %v, want one that is ErrSnapshot", err)
	}
	if _, err := detect.Restore(ship(3), good); err != nil {
		t.Errorf("its own: %v", err)
	}
}

// Readings that detection does not use are counted by what is wrong with them.
func TestOddities(t *testing.T) {
	b := detect.New(ship(1))
	push(b, "a", []fact{{tension("1"), start, 90}, {tension("1"), start, 91}, {tension("9"), start, 90},
		{tension("1"), start + second, math.NaN()}})
	b.Advance("a", start+second, nil)
	push(b, "a", []fact{{tension("1"), start + second, 90}})
	marked := reading.Series{Channel: tension("1"), Time: []int64{start + 9*second}, Value: []float64{90},
		Quality: []reading.Quality{reading.Late}}
	b.Push("a", &marked)
	for i := range 2048 { // one more than fits beside the bad reading of the open tick
		push(b, "a", []fact{{tension("1"), start + 10*second + int64(i), 90}})
	}
	want := detect.Oddities{Late: 2, Duplicate: 1, Unknown: 1, Bad: 1, Overflow: 1}
	if got := b.Oddities(); got != want {
		t.Errorf("got %+v, want %+v", got, want)
	}
}

// A source that has fallen silent holds the others up by the lateness, no more.
func TestSilentSource(t *testing.T) {
	b := detect.New(ship(1))
	var load []fact
	for i := range int64(200) {
		load = append(load, fact{tension("1"), start + i*second/10, 400})
	}
	b.Advance("dead", start, nil)
	push(b, "a", load)
	if got := b.Advance("a", start+8*second, nil); len(got) != 0 {
		t.Errorf("at 8 s, watermark 3 s: %s", text(got))
	}
	if got := b.Advance("a", start+12*second, nil); len(got) != 1 {
		t.Errorf("at 12 s, watermark 7 s: want the load over the limit told, got %s", text(got))
	}
}

// A source that never promises is believed to the lateness.
func TestSourceWithoutPromises(t *testing.T) {
	b := detect.New(ship(1))
	var got []detect.Change
	for i := range int64(200) {
		push(b, "a", []fact{{tension("1"), start + i*second/10, 400}})
		got = b.Advance("a", 0, got)
	}
	if len(got) != 1 {
		t.Errorf("after 20 s over the limit: want one alarm, got %s", text(got))
	}
}

// A source that is gone holds nobody up: a load over the limit for 3 s is told at once.
// When it comes back it is waited for again.
func TestGoneSource(t *testing.T) {
	b := detect.New(ship(1))
	var got []detect.Change
	b.Advance("gone", start-second, nil)
	for i := range int64(440) {
		load := 100.0
		if i >= 400 {
			load = 400
		}
		at := start + i*second/10
		push(b, "a", []fact{{tension("1"), at, load}})
		got = b.Advance("a", at, got)
	}
	if len(got) != 1 {
		t.Errorf("3.9 s over the limit: want it told, got %s", text(got))
	}
	b.Advance("gone", start+44*second, nil)
	push(b, "a", []fact{{tension("1"), start + 45*second, 400}})
	b.Advance("a", start+45*second, nil)
	push(b, "gone", []fact{{tension("1"), start + 445*second/10, 400}})
	if late := b.Oddities().Late; late != 0 {
		t.Errorf("%d readings of a source that came back are late, want none", late)
	}
}
