package journal_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"hawser/ingest/journal"
	"hawser/services/waittest"
)

// told collects what the journal calls back with.
type told struct {
	mu       sync.Mutex
	pressure []journal.Pressure
	losses   []journal.Loss
}

func (c *told) into(o *journal.Options) {
	o.OnPressure = func(p journal.Pressure) { c.mu.Lock(); c.pressure = append(c.pressure, p); c.mu.Unlock() }
	o.OnLoss = func(l journal.Loss) { c.mu.Lock(); c.losses = append(c.losses, l); c.mu.Unlock() }
}

// heard is a journal inside whose metrics and calls the test hears.
func heard(t *testing.T) (*place, *prometheus.Registry, *told) {
	p, _ := inside(t)
	reg, told := prometheus.NewRegistry(), &told{}
	told.into(&p.o)
	p.o.Registerer = reg
	return p, reg, told
}

// of is what was told of a kind, without the disk, which is not ours to fill.
func (c *told) of(kind journal.PressureKind) (all []journal.Pressure) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, p := range c.pressure {
		if p.Kind == kind {
			all = append(all, p)
		}
	}
	return all
}

func TestReaderIsToldOfBeforeItLosesEntries(t *testing.T) {
	p, reg, told := heard(t)
	p.o.MaxBytes = 1 << 20
	p.o.CheckEvery(5 * time.Millisecond)
	j := p.open()

	allowed := make(chan bool)
	handled := make(chan uint64, 1000)
	ctx, cancel := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	wg.Go(func() {
		j.Follow(ctx, journal.FollowOptions{Reader: "slow", Berth: "jetty-1"}, func(e *journal.Entry) error {
			select {
			case <-allowed:
			case <-ctx.Done():
			}
			handled <- e.SourceSequence
			return nil
		})
	})
	wg.Go(func() {
		j.Follow(ctx, journal.FollowOptions{Reader: "quick"}, func(*journal.Entry) error { return nil })
	})
	e := entry("jetty-1", "gw", 0)
	e.Data = make([]byte, 10_000)
	more := func(n int) {
		for range n {
			e.SourceSequence++
			appendOne(t, j, e)
		}
	}
	// 60 entries of 10 kB are 0.6 of the limit: nothing to tell.
	more(60)
	waittest.True(t, "60 entries seen", func() bool { return waittest.Metric(t, reg, "hawser_journal_last_position") == 60 })
	waittest.True(t, "the slow reader's lag", func() bool { return waittest.Metric(t, reg, "hawser_journal_reader_lag_batches", "slow") == 60 })
	waittest.True(t, "the quick reader's lag", func() bool { return waittest.Metric(t, reg, "hawser_journal_reader_lag_batches", "quick") == 0 })
	if u := waittest.Metric(t, reg, "hawser_journal_unread_bytes", "slow"); u < 600_000 || u > 620_000 {
		t.Errorf("unread %v bytes, want somewhat over 600,000", u)
	}
	if got := told.of(journal.UnreadBytes); len(got) != 0 {
		t.Errorf("told too early: %+v", got)
	}
	unread := func() map[string]time.Duration {
		t.Helper()
		ages, err := j.Unread(t.Context())
		if err != nil || len(ages) != 2 {
			t.Fatalf("unread %v, %v", ages, err)
		}
		return ages
	}
	if ages := unread(); ages["slow"] <= 0 || ages["quick"] != 0 {
		t.Errorf("unread %v, want only of slow", ages)
	}
	// 90 are over 0.75, and it is told once.
	more(30)
	waittest.True(t, "pressure", func() bool { return len(told.of(journal.UnreadBytes)) > 0 })
	more(5)
	waittest.True(t, "95 entries seen", func() bool { return waittest.Metric(t, reg, "hawser_journal_last_position") == 95 })
	got := told.of(journal.UnreadBytes)
	if len(got) != 1 || got[0].Reader != "slow" || !got[0].Raised || got[0].Share < 0.75 || got[0].Share > 1 {
		t.Errorf("told %+v, want once, of slow", got)
	}
	// The reader reads: it is told to be well, once.
	close(allowed)
	for range 95 {
		<-handled
	}
	waittest.True(t, "the end of pressure", func() bool { return len(told.of(journal.UnreadBytes)) > 1 })
	waittest.True(t, "no lag", func() bool { return waittest.Metric(t, reg, "hawser_journal_reader_lag_batches", "slow") == 0 })
	got = told.of(journal.UnreadBytes)
	if len(got) != 2 || got[1].Reader != "slow" || got[1].Raised {
		t.Errorf("told %+v, want an end", got)
	}
	if age := waittest.Metric(t, reg, "hawser_journal_unread_age_seconds", "slow"); age != 0 {
		t.Errorf("unread for %v s after reading all", age)
	}
	if ages := unread(); ages["slow"] != 0 || ages["quick"] != 0 {
		t.Errorf("unread %v after reading all", ages)
	}
	cancel()
	wg.Wait()
}

func TestReaderThatStoppedStillCounts(t *testing.T) {
	p, _, told := heard(t)
	p.o.MaxAge = 2 * time.Second
	p.o.CheckEvery(5 * time.Millisecond)
	j := p.open()
	appendMany(t, j, "jetty-1", 1, 5)
	appendMany(t, j, "jetty-2", 1, 5)
	err := j.Follow(t.Context(), journal.FollowOptions{Reader: "store"}, func(e *journal.Entry) error {
		if e.Position == 4 { // it stands before the fourth
			return errEnough
		}
		return nil
	})
	if !errors.Is(err, errEnough) {
		t.Fatal(err)
	}
	waittest.True(t, "age told", func() bool { return len(told.of(journal.UnreadAge)) > 0 })
	if got := told.of(journal.UnreadAge)[0]; got.Reader != "store" || !got.Raised || got.Share < 0.75 {
		t.Errorf("told %+v", got)
	}
}

func TestEntriesDroppedBeforeTheReaderCame(t *testing.T) {
	p, reg, told := heard(t)
	p.o.MaxBytes = 1 << 20
	j := p.open()
	e := entry("jetty-1", "gw", 0)
	e.Data = make([]byte, 10_000)
	for e.SourceSequence = 1; e.SourceSequence <= 300; e.SourceSequence++ {
		appendOne(t, j, e)
	}
	first, _, err := j.Bounds(t.Context())
	if err != nil || first < 190 {
		t.Fatalf("first position %d, %v: want the oldest dropped", first, err)
	}
	if got := collect(t, j, journal.FollowOptions{Reader: "new"}, 1); got[0].Position != first {
		t.Errorf("began at %d, want %d", got[0].Position, first)
	}
	if len(told.losses) != 0 {
		t.Errorf("who begins at the oldest has lost nothing: %+v", told.losses)
	}
	if got := collect(t, j, journal.FollowOptions{Reader: "old", After: 20}, 1); got[0].Position != first {
		t.Errorf("began at %d, want %d", got[0].Position, first)
	}
	want := journal.Loss{Reader: "old", From: 21, To: first - 1}
	if len(told.losses) != 1 || told.losses[0] != want {
		t.Errorf("told %+v, want %+v", told.losses, want)
	}
	if n := waittest.Metric(t, reg, "hawser_journal_skipped_batches_total", "old"); n != float64(first-21) {
		t.Errorf("%v skipped, want %d", n, first-21)
	}
}

func TestMetrics(t *testing.T) {
	p, _ := inside(t)
	reg := prometheus.NewRegistry()
	p.o.Registerer = reg
	j := p.open()
	appendMany(t, j, "jetty-1", 1, 10)
	appendMany(t, j, "jetty-1", 5, 10)
	for name, want := range map[string]float64{
		"hawser_journal_appended_batches_total": 10, "hawser_journal_repeated_batches_total": 6,
		// "jetty-1/gw/1" to "jetty-1/gw/10".
		"hawser_journal_appended_bytes_total": 9*12 + 13,
		"hawser_journal_in_flight_batches":    0, "hawser_journal_in_flight_bytes": 0, "hawser_journal_failed": 0,
	} {
		if got := waittest.Metric(t, reg, name); got != want {
			t.Errorf("%s is %v, want %v", name, got, want)
		}
	}
	problems, err := testutil.GatherAndLint(reg)
	if err != nil || len(problems) > 0 {
		t.Errorf("%v, %v", problems, err)
	}
	closeJournal(t, j)
	p.open() // the same registry takes the metrics again
}
