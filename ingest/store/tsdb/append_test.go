package tsdb_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"pgregory.net/rapid"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/ingest/store/storetest"
	"hawser/ingest/store/tsdb"
	"hawser/services/waittest"
)

var tension7 = reading.Channel{Line: "7", Kind: reading.Tension}

// reads makes a block of one channel from pairs of milliseconds and values.
func reads(c reading.Channel, decimals int8, pairs ...float64) *reading.Block {
	s := reading.Series{Channel: c, Decimals: decimals}
	for i := 0; i < len(pairs); i += 2 {
		s.Time = append(s.Time, storetest.Start.UnixNano()+int64(pairs[i]*1e6))
		s.Value = append(s.Value, pairs[i+1])
	}
	return &reading.Block{Series: []reading.Series{s}}
}

func must(t rapid.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func values(t *testing.T, s store.Store, c reading.Channel) []float64 {
	t.Helper()
	r, err := s.Query(t.Context(), store.Query{
		Berth: "jetty-1", Channel: c, From: storetest.Start.Add(-1000 * time.Hour), To: storetest.Start.Add(1000 * time.Hour),
	})
	must(t, err)
	if len(r) == 0 {
		return nil
	}
	return r[0].Value
}

func wantRefused(t *testing.T, err error, want map[store.Reason]int) {
	t.Helper()
	refused, ok := errors.AsType[*store.Refused](err)
	if !ok {
		t.Fatalf("error %v, want readings refused", err)
	}
	total := 0
	for reason, n := range want {
		total += n
		if refused.Count[reason] != n {
			t.Errorf("%d %s, want %d", refused.Count[reason], reason, n)
		}
	}
	if refused.Total() != total {
		t.Errorf("%v, want %d in all", err, total)
	}
}

// The first of two numbers for one time stays, whether the second comes in the same
// block, later, late, in another resolution, or after a restart.
func TestFirstWins(t *testing.T) {
	dir := t.TempDir()
	r := prometheus.NewRegistry()
	s := open(t, tsdb.Options{Dir: dir, Registerer: r})
	err := s.Append(t.Context(), "jetty-1", reads(tension7, 1, 0, 1.5, 100, 2.5, 100, 9.5, 200, 3.5, 100, 2.5))
	wantRefused(t, err, map[store.Reason]int{store.Conflict: 1})
	if want := `first: berth "jetty-1": "7/tension" at 2026-03-01T04:00:00.1Z`; !strings.Contains(err.Error(), want) {
		t.Errorf("%v does not say %s", err, want)
	}
	wantRefused(t, s.Append(t.Context(), "jetty-1", reads(tension7, 2, 200, 3.55, 300, 4.55)), map[store.Reason]int{store.Conflict: 1})
	// Times are cut to milliseconds.
	wantRefused(t, s.Append(t.Context(), "jetty-1", reads(tension7, 1, 400.1, 5.5, 400.2, 6.5, 401, 7.5)), map[store.Reason]int{store.Conflict: 1})
	for name, want := range map[string]float64{"hawser_store_repeated_readings_total": 1, "hawser_store_late_readings_total": 0} {
		if got := waittest.Metric(t, r, name); got != want {
			t.Errorf("%s is %v, want %v", name, got, want)
		}
	}
	must(t, s.Close())
	s = open(t, tsdb.Options{Dir: dir})
	wantRefused(t, s.Append(t.Context(), "jetty-1", reads(tension7, 1, 50, 8.5, 100, 9.5, 300, 4.5, 300, 4.55)), map[store.Reason]int{store.Conflict: 2})
	if got, want := values(t, s, tension7), []float64{1.5, 8.5, 2.5, 3.5, 4.55, 5.5, 7.5}; !slices.Equal(got, want) {
		t.Errorf("values %v, want %v", got, want)
	}
}

func TestTooOldTooNew(t *testing.T) {
	s := open(t, tsdb.Options{Retention: 2 * time.Hour, Ahead: time.Minute})
	day := float64(24 * time.Hour / time.Millisecond)
	minute := float64(time.Minute / time.Millisecond)
	err := s.Append(t.Context(), "jetty-1", reads(tension7, 1,
		day, 1, // the clock's time
		day+minute, 2, // as far ahead as is believed
		day+minute+1, 3, // and beyond
		400*day, 4,
		day-118*minute, 5, // as late as is taken, behind the newest
		day-120*minute, 6, // and beyond
		0, 7))
	wantRefused(t, err, map[store.Reason]int{store.TooNew: 2, store.TooOld: 2})
	if got, want := values(t, s, tension7), []float64{5, 1, 2}; !slices.Equal(got, want) {
		t.Errorf("values %v, want %v", got, want)
	}
	// Another berth's time goes on too: old is by the newest reading of all.
	err = s.Append(t.Context(), "jetty-2", reads(tension7, 1, 0, 1, day, 2))
	wantRefused(t, err, map[store.Reason]int{store.TooOld: 1})
}

// A channel whose blocks are now whole, now not, does not fall into series.
func TestSettlesOnOneSeries(t *testing.T) {
	s := open(t, tsdb.Options{})
	for i := range 100 {
		decimals := int8(1)
		v := float64(i) / 10
		if i%10 == 0 && i > 0 {
			decimals = 0
		}
		must(t, s.Append(t.Context(), "jetty-1", reads(tension7, decimals, float64(i)*1000, v)))
	}
	if n := s.Series(); n != 1 {
		t.Errorf("%d series, want 1", n)
	}
	if got := values(t, s, tension7); len(got) != 100 || got[37] != 3.7 || got[40] != 4 {
		t.Errorf("values %v", got)
	}
}

// Whatever comes, in whatever order, however often, cut by restarts and by blocks
// being made: the store is the first number of each channel and time.
func TestModel(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		dir := t.TempDir()
		s := open(t, tsdb.Options{Dir: dir})
		model := make(map[reading.Channel]map[int64]float64)
		channels := []reading.Channel{tension7, {Kind: reading.WindSpeed}}
		for range rapid.IntRange(1, 6).Draw(rt, "steps") {
			switch rapid.SampledFrom([]string{"append", "append", "append", "append", "append", "reopen", "flush"}).Draw(rt, "step") {
			case "append":
				entries, conflicts := drawEntries(rt, channels, model)
				err := s.AppendMany(t.Context(), entries)
				if refused, ok := errors.AsType[*store.Refused](err); ok && refused.Total() == conflicts && refused.Count[store.Conflict] == conflicts {
					err = nil
				} else if conflicts > 0 {
					rt.Fatalf("%v, want %d conflicts", err, conflicts)
				}
				if err != nil {
					rt.Fatal(err)
				}
			case "reopen":
				must(rt, s.Close())
				s = open(t, tsdb.Options{Dir: dir})
			case "flush":
				must(rt, s.Flush(t.Context()))
			}
		}
		for _, c := range channels {
			checkModel(rt, s, c, model[c])
		}
		must(rt, s.Close())
	})
}

// drawEntries draws blocks, notes what the store has to take of them and counts
// what it has to refuse.
func drawEntries(t *rapid.T, channels []reading.Channel, model map[reading.Channel]map[int64]float64) (entries []store.Entry, conflicts int) {
	for range rapid.IntRange(1, 4).Draw(t, "blocks") {
		c := rapid.SampledFrom(channels).Draw(t, "channel")
		decimals := int8(rapid.IntRange(-1, 6).Draw(t, "decimals"))
		var pairs []float64
		if model[c] == nil {
			model[c] = make(map[int64]float64)
		}
		for range rapid.IntRange(1, 8).Draw(t, "readings") {
			// Few times, so that they meet; some hours apart, so that blocks lie between.
			ms := int64(rapid.IntRange(0, 20).Draw(t, "time"))*100 + int64(rapid.IntRange(0, 3).Draw(t, "hours"))*3_600_000
			n := rapid.IntRange(-3, 3).Draw(t, "n")
			v := float64(n) / math.Pow(10, float64(max(decimals, 0)))
			pairs = append(pairs, float64(ms), v)
			if first, ok := model[c][ms]; !ok {
				model[c][ms] = v
			} else if first != v {
				conflicts++
			}
		}
		entries = append(entries, store.Entry{Berth: "jetty-1", Block: reads(c, decimals, pairs...)})
	}
	return entries, conflicts
}

func checkModel(t *rapid.T, s store.Store, c reading.Channel, want map[int64]float64) {
	r, err := s.Query(t.Context(), store.Query{
		Berth: "jetty-1", Channel: c, From: storetest.Start, To: storetest.Start.Add(24 * time.Hour),
	})
	must(t, err)
	if len(r) == 0 {
		r = append(r, store.Result{})
	}
	got := make(map[int64]float64)
	for i, at := range r[0].Time {
		got[(at-storetest.Start.UnixNano())/1e6] = r[0].Value[i]
	}
	if len(got) != len(r[0].Time) || len(got) != len(want) {
		t.Fatalf("%s: %d readings at %d times, want %d", c, len(r[0].Time), len(got), len(want))
	}
	for ms, v := range want {
		if g, ok := got[ms]; !ok || g != v {
			t.Fatalf("%s: %v at %d ms, want %v", c, g, ms, v)
		}
	}
}

// Appending in order costs no memory per reading.
func TestAppendAllocations(t *testing.T) {
	s := open(t, tsdb.Options{})
	source := storetest.NewSource(16, 1)
	next := func() {
		must(t, s.Append(t.Context(), "jetty-1", source.Next()))
	}
	for range 20 {
		next()
	}
	perBlock := testing.AllocsPerRun(500, next)
	readings := float64(source.Next().Samples())
	// The database makes an appender per commit and a chunk per 480 readings.
	if perReading := perBlock / readings; perReading > 0.25 {
		t.Errorf("%.1f allocations a block of %v readings, %.3f a reading", perBlock, readings, perReading)
	} else {
		t.Logf("%.1f allocations a block of %v readings", perBlock, readings)
	}
}

func TestOptions(t *testing.T) {
	for _, o := range []tsdb.Options{
		{}, {Dir: "x", Retention: time.Hour}, {Dir: "x", Ahead: -1}, {Dir: "x", Settle: -1},
	} {
		if _, err := tsdb.Open(o); err == nil {
			t.Errorf("%+v taken", o)
		}
	}
}

// Two at once in one folder would ruin it.
func TestOneAtATime(t *testing.T) {
	dir := t.TempDir()
	first := open(t, tsdb.Options{Dir: dir})
	if _, err := tsdb.Open(tsdb.Options{Dir: dir}); err == nil {
		t.Fatal("opened twice")
	}
	if err := first.Append(t.Context(), "jetty-1", reads(tension7, 1, 0, 1)); err != nil {
		t.Error(err)
	}
	if r := first.Recovery(); len(r.Damage) > 0 {
		t.Errorf("%+v", r)
	}
}
