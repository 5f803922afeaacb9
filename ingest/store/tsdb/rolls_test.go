package tsdb_test

import (
	"bytes"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"pgregory.net/rapid"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/ingest/store/roll"
	"hawser/ingest/store/storetest"
	"hawser/ingest/store/tsdb"
	"hawser/services/waittest"
)

// Whatever comes, in whatever order, however often, rolled up at any moment, cut by
// restarts and by blocks being made: the points of every step are what the first
// number of each time gives. Hours are few and times meet, so late readings come
// into spans that were rolled up long ago.
func TestRollsModel(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		dir := t.TempDir()
		s := open(t, tsdb.Options{Dir: dir, Settle: time.Hour})
		var sent storetest.Ledger
		for range rapid.IntRange(1, 8).Draw(rt, "steps") {
			switch rapid.SampledFrom([]string{"append", "append", "append", "roll up", "roll up", "reopen", "flush"}).Draw(rt, "step") {
			case "append":
				var entries []store.Entry
				for range rapid.IntRange(1, 3).Draw(rt, "blocks") {
					b := drawBlock(rt)
					sent.Note("jetty-1", b)
					entries = append(entries, store.Entry{Berth: "jetty-1", Block: b})
				}
				must(rt, s.AppendMany(t.Context(), entries))
			case "roll up":
				must(rt, s.RollUp(t.Context()))
			case "reopen":
				must(rt, s.Close())
				s = open(t, tsdb.Options{Dir: dir, Settle: time.Hour})
			case "flush":
				must(rt, s.Flush(t.Context()))
			}
		}
		from := storetest.Start.Add(time.Duration(rapid.IntRange(0, 7200).Draw(rt, "from")) * time.Second)
		to := from.Add(time.Duration(rapid.IntRange(1, 14400).Draw(rt, "span")) * time.Second)
		step := rapid.SampledFrom(storetest.Steps()).Draw(rt, "step")
		sent.CheckSteps(rt, s, from, to, step)
		sent.CheckSteps(rt, s, storetest.Start, storetest.Start.Add(4*time.Hour), step)
		must(rt, s.Close())
	})
}

// drawBlock draws readings of one channel whose number for a time is always the
// same, in any of the forms that hold it.
func drawBlock(t *rapid.T) *reading.Block {
	c := rapid.SampledFrom([]reading.Channel{tension7, {Kind: reading.WindSpeed}}).Draw(t, "channel")
	decimals := int8(rapid.IntRange(-1, 4).Draw(t, "decimals"))
	var pairs []float64
	for range rapid.IntRange(1, 12).Draw(t, "readings") {
		ms := rapid.IntRange(0, 40).Draw(t, "time")*300 + rapid.SampledFrom([]int{0, 598_000, 3_600_000, 7_190_000}).Draw(t, "about")
		pairs = append(pairs, float64(ms), float64(ms*7919%4001-2000))
	}
	return reads(c, decimals, pairs...)
}

// Readings go, their rolls stay; what comes in later than readings are kept is
// refused, so no roll is ever reckoned from a part of its readings. Where readings
// are kept longer than they were before, a late one may come into a span whose
// others have gone: the roll stays what it was.
func TestReadingsGoRollsStay(t *testing.T) {
	const hours = 30
	dir := t.TempDir()
	registry := prometheus.NewRegistry()
	o := tsdb.Options{Dir: dir, Retention: 6 * time.Hour, Settle: time.Hour, Now: farAhead, Registerer: registry}
	s := open(t, o)
	var sent storetest.Ledger
	hour := func(h, from, to int) {
		t.Helper()
		var pairs []float64
		for second := from; second < to; second++ {
			pairs = append(pairs, float64(h*3600+second)*1000, float64(second%97)/10)
		}
		b := reads(tension7, 1, pairs...)
		sent.Note("jetty-1", b)
		must(t, s.Append(t.Context(), "jetty-1", b))
	}
	for h := range hours {
		hour(h, 0, 1800)
		if h > 2 {
			hour(h-2, 1800, 3600) // late by two hours
		}
		if h%5 == 0 {
			must(t, s.RollUp(t.Context()))
		}
	}
	must(t, s.RollUp(t.Context()))
	must(t, s.Flush(t.Context()))
	must(t, s.Compact(t.Context()))
	if n := len(values(t, s, tension7)); n > 12*3600 {
		t.Fatalf("%d readings are still there: none has gone", n)
	}
	end := storetest.Start.Add(hours * time.Hour)
	check := func() {
		t.Helper()
		sent.CheckSteps(t, s, storetest.Start, end, time.Second, 30*time.Second, time.Minute, 10*time.Minute, time.Hour)
	}
	check()

	late := reads(tension7, 1, 3600_500, 99)
	wantRefused(t, s.Append(t.Context(), "jetty-1", late), map[store.Reason]int{store.TooOld: 1})
	must(t, s.RollUp(t.Context()))
	check()

	must(t, s.Close())
	o.Retention = 48 * time.Hour
	s = open(t, o)
	must(t, s.Append(t.Context(), "jetty-1", late))
	check()
	must(t, s.RollUp(t.Context()))
	check()
	if n := waittest.Metric(t, registry, "hawser_store_kept_rolls_total"); n != 1 {
		t.Errorf("%v rolls kept, want 1", n)
	}
}

// Rolls go when they are as old as their resolution is kept, the finer first. A
// drawing of a time of which only coarser ones are left is in steps of those.
func TestOldRollsGo(t *testing.T) {
	o := tsdb.Options{
		Retention: 3 * time.Hour, Settle: time.Hour, Now: farAhead,
		Rolls: roll.Retention{6 * time.Hour, 12 * time.Hour, 24 * time.Hour, 1000 * time.Hour},
	}
	s := open(t, o)
	for h := range 100 {
		var pairs []float64
		for m := range 60 {
			pairs = append(pairs, float64(h*60+m)*60_000, float64(m))
		}
		must(t, s.Append(t.Context(), "jetty-1", reads(tension7, 0, pairs...)))
		must(t, s.RollUp(t.Context()))
	}
	must(t, s.DropOld())
	ask := func(q store.Query) store.Result {
		t.Helper()
		q.Berth, q.Channel = "jetty-1", tension7
		r, err := s.Query(t.Context(), q)
		must(t, err)
		if len(r) == 0 {
			return store.Result{}
		}
		return r[0]
	}
	at := func(h int) time.Time { return storetest.Start.Add(time.Duration(h) * time.Hour) }
	// A page goes when all of it is over.
	for step, hours := range map[time.Duration]int{time.Second: 7, 10 * time.Second: 13, time.Minute: 27, 10 * time.Minute: 100} {
		r := ask(store.Query{From: at(0), To: at(100), Step: step, MaxPoints: 1e6})
		if len(r.Time) == 0 || r.Time[0] < at(99-hours).UnixNano() {
			t.Fatalf("steps of %s begin with %d points, %s", step, len(r.Time), time.Unix(0, r.Time[0]).UTC())
		}
	}
	for ago, want := range map[int]time.Duration{2: 20 * time.Second, 5: 20 * time.Second, 10: 20 * time.Second, 20: time.Minute, 90: 10 * time.Minute} {
		r := ask(store.Query{From: at(100 - ago), To: at(101 - ago), Points: 200})
		if r.Step != want || len(r.Time) == 0 {
			t.Errorf("%d hours ago: %d points in steps of %s, want %s", ago, len(r.Time), r.Step, want)
		}
	}
	o.Rolls[1] = time.Hour
	o.Dir = t.TempDir()
	if _, err := tsdb.Open(o); err == nil || !strings.Contains(err.Error(), "10s: 1h0m0s is shorter than the 6h0m0s of 1s") {
		t.Errorf("10 s kept shorter than 1 s: %v", err)
	}
}

// A store from before there were rolls, or whose rolls were lost, makes them from its
// readings; while they wait, answers are the same.
func TestRollsMadeAnew(t *testing.T) {
	for name, spoil := range map[string]func(path string) error{
		"none":             os.Remove,
		"garbage":          func(path string) error { return os.WriteFile(path, bytes.Repeat([]byte("tension"), 10_000), 0o600) },
		"cut to a page":    func(path string) error { return os.Truncate(path, int64(os.Getpagesize())) },
		"cut short":        func(path string) error { return os.Truncate(path, int64(3*os.Getpagesize())) },
		"cut to ten pages": func(path string) error { return os.Truncate(path, int64(10*os.Getpagesize())) },
		"tree damaged": func(path string) error {
			data, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			for i := 2 * os.Getpagesize(); i < len(data); i++ { // all but the two heads
				data[i] ^= 0xa5
			}
			return os.WriteFile(path, data, 0o600)
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			s := open(t, tsdb.Options{Dir: dir, Settle: time.Hour})
			var sent storetest.Ledger
			for _, b := range storetest.Blocks(2, 1300, 8) {
				sent.Note("jetty-1", b)
				must(t, s.Append(t.Context(), "jetty-1", b))
			}
			must(t, s.RollUp(t.Context()))
			s.Refill().Begun()
			must(t, s.Close())
			must(t, spoil(filepath.Join(dir, "rolls.db")))
			s = open(t, tsdb.Options{Dir: dir, Settle: time.Hour})
			if damage := s.Recovery().Damage; s.Refill().Wanted() || (len(damage) > 0) != (name != "none") {
				t.Errorf("refill %t, damage %+v", s.Refill().Wanted(), damage)
			}
			for range 2 {
				sent.CheckSteps(t, s, storetest.Start, storetest.Start.Add(time.Hour), storetest.Steps()...)
				must(t, s.RollUp(t.Context()))
			}
		})
	}
}

// A page damaged on disk is passed over and told; the others are as they were.
func TestPageDamaged(t *testing.T) {
	dir := t.TempDir()
	s := open(t, tsdb.Options{Dir: dir, Settle: time.Hour})
	for i := range 3 {
		must(t, s.Append(t.Context(), "jetty-1", reads(tension7, 1, float64(i)*600_000, 123.4, float64(i)*600_000+50, 131.9)))
	}
	must(t, s.RollUp(t.Context()))
	must(t, s.Close())
	path := filepath.Join(dir, "rolls.db")
	data, err := os.ReadFile(path)
	must(t, err)
	key := tsdb.RollKey(storetest.Start.Add(roll.Span).UnixNano(), "jetty-1", "7/tension")
	for at := 0; ; { // every copy of the page, of the finer resolutions
		i := bytes.Index(data[at:], key)
		if i < 0 {
			break
		}
		at += i + len(key)
		data[at+6] ^= 1
	}
	must(t, os.WriteFile(path, data, 0o600))
	var told strings.Builder
	s = open(t, tsdb.Options{Dir: dir, Settle: time.Hour, Log: slog.New(slog.NewTextHandler(&told, nil))})
	r, err := s.Query(t.Context(), store.Query{Berth: "jetty-1", Channel: tension7, From: storetest.Start, To: storetest.Start.Add(time.Hour), Step: time.Second})
	if err != nil || len(r) != 1 || len(r[0].Value) != 2 || math.Abs(r[0].Value[1]-127.65) > 1e-12 {
		t.Fatalf("%+v, %v", r, err)
	}
	if !strings.Contains(told.String(), "page of rolls is damaged") || !strings.Contains(told.String(), "channel=7/tension") {
		t.Errorf("told %q", told.String())
	}
}

// Appends, the roller and questions at once: a question asked while spans are rolled
// up again and again sees each reading once, and never fewer than it saw before.
func TestRollingWhileAppending(t *testing.T) {
	s := open(t, tsdb.Options{Settle: time.Millisecond})
	var sent storetest.Ledger
	blocks := storetest.Blocks(1, 900, 6)
	ended := make(chan error, 1)
	go func() {
		for _, b := range blocks {
			if err := s.Append(t.Context(), "jetty-1", b); err != nil {
				ended <- err
				return
			}
		}
		ended <- nil
	}()
	seen, appending := int64(0), true
	for appending {
		select {
		case err := <-ended:
			must(t, err)
			appending = false
		default:
		}
		r, err := s.Query(t.Context(), store.Query{
			Berth: "jetty-1", Channel: reading.Channel{Line: "1", Kind: reading.Tension},
			From: storetest.Start, To: storetest.Start.Add(time.Hour), Step: 10 * time.Second,
		})
		must(t, err)
		count := int64(0)
		for _, of := range r {
			for i, n := range of.Count {
				if count += n; n > 100 || of.Min[i] > of.Value[i] || of.Value[i] > of.Max[i] {
					t.Fatalf("at %d: %d readings, %v to %v, mean %v", of.Time[i], n, of.Min[i], of.Max[i], of.Value[i])
				}
			}
		}
		if count < seen {
			t.Fatalf("%d readings after %d", count, seen)
		}
		seen = count
	}
	if seen != 9000 {
		t.Errorf("%d readings at the end, want 9000", seen)
	}
	for _, b := range blocks {
		sent.Note("jetty-1", b)
	}
	sent.CheckSteps(t, s, storetest.Start, storetest.Start.Add(time.Hour), time.Second, time.Minute)
}
