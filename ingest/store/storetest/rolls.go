package storetest

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"testing"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/store"
)

// Rolling is a store that can be told to roll up at once what waits for it.
type Rolling interface {
	store.Store
	RollUp(ctx context.Context) error
}

// Steps are some that are made of rolls of each resolution, and two that are not.
func Steps() []time.Duration {
	return []time.Duration{
		500 * time.Millisecond, time.Second, 1500 * time.Millisecond, 7 * time.Second, 10 * time.Second, 30 * time.Second,
		time.Minute, 5 * time.Minute, 10 * time.Minute, time.Hour,
	}
}

// tester is what a check needs of a test, plain or drawn.
type tester interface {
	Helper()
	Fatal(args ...any)
	Fatalf(format string, args ...any)
}

// CheckSteps asks for every channel of every berth in steps, over the span given, and
// fails the test for each point that is not what a plain reckoning from the readings
// sent gives: count, least and greatest exactly, mean and standard deviation to 1e-9
// of the readings' size.
func (l *Ledger) CheckSteps(t tester, s store.Store, from, to time.Time, steps ...time.Duration) {
	t.Helper()
	for berth, channels := range l.berths {
		for _, step := range steps {
			results, err := s.Query(context.Background(), store.Query{Berth: berth, From: from, To: to, Step: step, MaxPoints: 10_000_000})
			if err != nil {
				t.Fatal(err)
			}
			got := make(map[reading.Channel]store.Result)
			for _, r := range results {
				got[r.Channel] = r
			}
			for c, readings := range channels {
				if wrong := compareSteps(got[c], plainSteps(readings, from, to, step), step); wrong != "" {
					t.Fatalf("berth %s: %s in steps of %s: %s", berth, c, step, wrong)
				}
			}
		}
	}
}

// plainSteps are the readings of each step of the span taken to whole steps.
func plainSteps(readings map[int64]float64, from, to time.Time, step time.Duration) map[int64][]float64 {
	out := make(map[int64][]float64)
	first := from.UnixNano() / int64(step) * int64(step)
	last := (to.UnixNano() + int64(step) - 1) / int64(step) * int64(step)
	for t, v := range readings {
		if t >= first && t < last {
			at := t / int64(step) * int64(step)
			out[at] = append(out[at], v)
		}
	}
	return out
}

// compareSteps tells the first difference.
func compareSteps(got store.Result, want map[int64][]float64, step time.Duration) string {
	times := slices.Sorted(maps.Keys(want))
	if !slices.Equal(got.Time, times) {
		return fmt.Sprintf("%d points, want %d", len(got.Time), len(times))
	}
	if len(times) > 0 && got.Step != step {
		return fmt.Sprintf("step told %s", got.Step)
	}
	for i, at := range times {
		values := want[at]
		sum, squares := 0.0, 0.0
		for _, v := range values {
			sum += v
		}
		mean := sum / float64(len(values))
		for _, v := range values {
			squares += (v - mean) * (v - mean)
		}
		std := math.Sqrt(squares / float64(len(values)))
		size := 1e-9 * max(1, math.Abs(slices.Min(values)), math.Abs(slices.Max(values)))
		if got.Count[i] != int64(len(values)) || got.Min[i] != slices.Min(values) || got.Max[i] != slices.Max(values) ||
			math.Abs(got.Value[i]-mean) > size || math.Abs(got.Std[i]-std) > size {
			return fmt.Sprintf("at %s: count %d, %v to %v, mean %v, std %v; want %d, %v to %v, mean %v, std %v",
				time.Unix(0, at).UTC().Format(time.RFC3339Nano), got.Count[i], got.Min[i], got.Max[i], got.Value[i], got.Std[i],
				len(values), slices.Min(values), slices.Max(values), mean, std)
		}
	}
	return ""
}

// testRolls: points are those of the readings before they are rolled up and after,
// whatever comes in late or again, and in whatever order.
func testRolls(t *testing.T, s Rolling) {
	const seconds = 25 * 60
	var sent Ledger
	blocks := Blocks(2, seconds, 4)
	from, to := Start.Add(-time.Minute), Start.Add(seconds*time.Second)
	give := func(some []*reading.Block) {
		t.Helper()
		var entries []store.Entry
		for _, b := range some {
			sent.Note("jetty-1", b)
			entries = append(entries, store.Entry{Berth: "jetty-1", Block: b})
		}
		if err := s.AppendMany(t.Context(), entries); err != nil {
			t.Fatal(err)
		}
	}
	rollUp := func() {
		t.Helper()
		if err := s.RollUp(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	check := func() {
		t.Helper()
		sent.CheckSteps(t, s, from, to, Steps()...)
	}
	var late, rest []*reading.Block
	for i, b := range blocks {
		if i%97 == 13 || i > 700 && i < 760 {
			late = append(late, b)
		} else {
			rest = append(rest, b)
		}
	}
	give(rest[:len(rest)/2])
	rollUp()
	give(rest[len(rest)/2:])
	check() // some from rolls, some from readings
	rollUp()
	check()
	slices.Reverse(late)
	give(late[:len(late)/2])
	check()
	rollUp()
	give(late)
	give(blocks[300:900])
	check()
	rollUp()
	rollUp()
	check()
	sent.Check(t, s)
	// Part of a step is the whole step, and no more than what is asked is given.
	sent.CheckSteps(t, s, Start.Add(90*time.Second), Start.Add(601*time.Second), time.Second, time.Minute, 10*time.Minute)
}

// testPoints: a drawing has at most the points asked for, and is of the finest step
// of the ladder that gives no more.
func testPoints(t *testing.T, s Rolling) {
	var r reading.Series
	r.Channel, r.Decimals = tension7, 1
	for i := range int64(3600) {
		add(&r, at(i*1000), float64(i%7))
	}
	mustAppend(t, s, block(r))
	for _, c := range []struct {
		points int
		span   time.Duration
		want   time.Duration
	}{
		{3602, time.Hour, time.Second}, {3601, time.Hour, 2 * time.Second}, {400, time.Hour, 10 * time.Second},
		{62, time.Hour, time.Minute}, {3, time.Hour, time.Hour}, {1000, time.Minute, 100 * time.Millisecond},
		{100, 30 * 24 * time.Hour, 12 * time.Hour}, {3, 10 * 365 * 24 * time.Hour, 2000 * 24 * time.Hour},
	} {
		q := store.Query{Berth: "jetty-1", Channel: tension7, From: Start, To: Start.Add(c.span), Points: c.points}
		got := mustQuery(t, s, q)
		if len(got) != 1 || len(got[0].Time) > c.points || got[0].Step != c.want {
			t.Errorf("%d points of %s: %d in steps of %s, want %s", c.points, c.span, len(got[0].Time), got[0].Step, c.want)
		}
	}
}
