package store_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"go.uber.org/goleak"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/ingest/store/storetest"
	"hawser/services/waittest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// script is a store that answers its appends from a list, nil when that is empty,
// and notes what it took.
type script struct {
	mu      sync.Mutex
	answers []error
	calls   []time.Time
	taken   []float64 // first value of each block
	entries []int     // of each call that took some
	hold    chan struct{}
}

func (s *script) AppendMany(ctx context.Context, entries []store.Entry) error {
	if s.hold != nil {
		select {
		case <-s.hold:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.calls = append(s.calls, time.Now())
	if len(s.answers) > 0 {
		err := s.answers[0]
		s.answers = s.answers[1:]
		if _, ok := errors.AsType[*store.Refused](err); err != nil && !ok {
			return err
		}
		s.take(entries)
		return err
	}
	s.take(entries)
	return nil
}

func (s *script) take(entries []store.Entry) {
	s.entries = append(s.entries, len(entries))
	for _, e := range entries {
		s.taken = append(s.taken, e.Block.Series[0].Value[0])
	}
}

func (s *script) Append(ctx context.Context, berth string, b *reading.Block) error {
	return s.AppendMany(ctx, []store.Entry{{Berth: berth, Block: b}})
}
func (s *script) Query(context.Context, store.Query) ([]store.Result, error) { return nil, nil }
func (s *script) Close() error                                               { return nil }

// one is a block of n readings, all of value v.
func one(v float64, n int) *reading.Block {
	r := reading.Series{Channel: reading.Channel{Line: "7", Kind: reading.Tension}, Decimals: 1}
	for i := range n {
		r.Time = append(r.Time, storetest.Start.UnixNano()+int64(i)*1e8)
		r.Value = append(r.Value, v)
	}
	return &reading.Block{Series: []reading.Series{r}}
}

// pumped runs a pump in the bubble of a synctest to its end in order, with the test.
func pumped(t *testing.T, s store.Store, o store.PumpOptions) *store.Pump {
	t.Helper()
	p, stop := pumping(t, s, o)
	t.Cleanup(func() {
		if err := stop(); err != nil {
			t.Error(err)
		}
	})
	return p
}

// pumping runs a pump and gives the stop.
func pumping(t *testing.T, s store.Store, o store.PumpOptions) (*store.Pump, func() error) {
	t.Helper()
	p := store.NewPump(s, o)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- p.Run(ctx) }()
	return p, func() error { cancel(); return <-ended }
}

// grouped are the options of a pump whose groups are of so much memory.
func grouped(bytes int) (o store.PumpOptions) {
	o.Group(bytes)
	return o
}

func offer(t *testing.T, p *store.Pump, position uint64, b *reading.Block) {
	t.Helper()
	if err := p.Offer(t.Context(), position, "jetty-1", b); err != nil {
		t.Fatal(err)
	}
}

func TestPumpGroupsByAge(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &script{}
		start := time.Now()
		p := pumped(t, s, store.PumpOptions{})
		b := one(1, 10)
		offer(t, p, 4, b)
		time.Sleep(600 * time.Millisecond)
		b.Series[0].Value[0] = 2 // the caller's memory is its own again
		offer(t, p, 5, b)
		offer(t, p, 6, nil)
		if p.Position() != 0 {
			t.Errorf("position %d before anything is stored", p.Position())
		}
		time.Sleep(500 * time.Millisecond)
		synctest.Wait()
		if p.Position() != 6 || !slices.Equal(s.taken, []float64{1, 2}) {
			t.Errorf("position %d, taken %v, want 6 and 1, 2", p.Position(), s.taken)
		}
		if len(s.calls) != 1 || s.calls[0].Sub(start) != time.Second {
			t.Errorf("calls at %v, want one a second after the first block", s.calls)
		}
	})
}

// Blocks that bring no readings, as a gateway sends whose sensors are all silent,
// are positions only: while the store is down they must not pile up.
func TestBlocksWithoutReadingsAreNotKept(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, r := &script{}, prometheus.NewRegistry()
		p := pumped(t, s, store.PumpOptions{Registerer: r})
		offer(t, p, 1, one(1, 10))
		offer(t, p, 2, &reading.Block{CompleteUntil: 1})
		offer(t, p, 3, one(0, 0))
		wantMetrics(t, r, `hawser_store_waiting_bytes 330`) // 160 a series, 17 a reading
		time.Sleep(time.Second)
		synctest.Wait()
		if p.Position() != 3 || !slices.Equal(s.entries, []int{1}) {
			t.Errorf("position %d, entries %v, want 3 and one entry", p.Position(), s.entries)
		}
	})
}

func TestPumpGroupsByBytes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &script{}
		p := pumped(t, s, grouped(1000))
		start := time.Now()
		for i := range 4 {
			offer(t, p, uint64(i+1), one(float64(i), 30)) // 670 bytes: two fill a group
			synctest.Wait()
		}
		if len(s.calls) != 2 || time.Since(start) != 0 || p.Position() != 4 {
			t.Errorf("%d calls after %s up to %d, want 2 at once up to 4", len(s.calls), time.Since(start), p.Position())
		}
	})
}

// What is offered while the store is down waits in bounded memory, then goes out in
// order.
func TestPumpDown(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		down := errors.New("no route")
		s := &script{answers: []error{
			down, down, down, &store.Unavailable{After: time.Minute, Err: down}, down,
		}}
		r := prometheus.NewRegistry()
		o := grouped(1000)
		o.Retry(100*time.Millisecond, 300*time.Millisecond)
		o.Registerer = r
		p := pumped(t, s, o)
		for i := range 4 { // a group being stored, a group full
			offer(t, p, uint64(i+1), one(float64(i+1), 30))
			synctest.Wait()
		}
		short, cancel := context.WithTimeout(t.Context(), 10*time.Millisecond)
		defer cancel()
		if err := p.Offer(short, 5, "jetty-1", one(5, 1)); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("offer over the bound: %v, want to wait", err)
		}
		wantMetrics(t, r, `
			hawser_store_down 1
			hawser_store_waiting_bytes 2680
			hawser_store_retries_total 1
			hawser_store_readings_total 0`)
		waited := p.Behind()
		offer(t, p, 5, one(5, 1)) // waits until there is space
		time.Sleep(2 * time.Second)
		synctest.Wait()
		if !slices.Equal(s.taken, []float64{1, 2, 3, 4, 5}) || p.Position() != 5 {
			t.Errorf("taken %v up to %d, want 1 to 5", s.taken, p.Position())
		}
		if waited != 10*time.Millisecond || p.Behind() != 0 {
			t.Errorf("the oldest reading had waited %v, now %v, want 10 ms and none", waited, p.Behind())
		}
		// Waits are half to all of 100, 200, 300 ms, then as long as was asked, then 300.
		for i, span := range [][2]time.Duration{
			{50, 100}, {100, 200}, {150, 300}, {60_000, 60_000}, {150, 300},
		} {
			got := s.calls[i+1].Sub(s.calls[i])
			if got < span[0]*time.Millisecond || got > span[1]*time.Millisecond+time.Nanosecond {
				t.Errorf("wait %d was %s, want %d to %d ms", i+1, got, span[0], span[1])
			}
		}
		wantMetrics(t, r, `
			hawser_store_down 0
			hawser_store_waiting_bytes 0
			hawser_store_waiting_seconds 0
			hawser_store_retries_total 5
			hawser_store_groups_total 3
			hawser_store_readings_total 121`)
	})
}

// wantMetrics compares the values of the metrics named.
func wantMetrics(t *testing.T, g prometheus.Gatherer, want string) {
	t.Helper()
	for _, line := range strings.Split(strings.TrimSpace(want), "\n") {
		name, value, _ := strings.Cut(strings.TrimSpace(line), " ")
		if got := fmt.Sprint(waittest.Metric(t, g, name)); got != value {
			t.Errorf("%s is %s, want %s", name, got, value)
		}
	}
}

func TestPumpRefused(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		refused := &store.Refused{}
		refused.Add(store.TooOld, 3, "jetty-1", reading.Channel{Line: "7", Kind: reading.Tension}, storetest.Start.UnixNano())
		s := &script{answers: []error{refused}}
		r := prometheus.NewRegistry()
		var log strings.Builder
		p := pumped(t, s, store.PumpOptions{Registerer: r, Log: slog.New(slog.NewTextHandler(&log, nil))})
		offer(t, p, 1, one(1, 10))
		time.Sleep(time.Second)
		synctest.Wait()
		if p.Position() != 1 || len(s.calls) != 1 {
			t.Errorf("position %d after %d calls, want 1 after 1: it is no use to try again", p.Position(), len(s.calls))
		}
		want := `
			# HELP hawser_store_refused_readings_total Readings that are not stored and never will be, by reason.
			# TYPE hawser_store_refused_readings_total counter
			hawser_store_refused_readings_total{reason="conflict"} 0
			hawser_store_refused_readings_total{reason="rejected"} 0
			hawser_store_refused_readings_total{reason="too new"} 0
			hawser_store_refused_readings_total{reason="too old"} 3
			hawser_store_refused_readings_total{reason="unnamed"} 0
			`
		if err := testutil.GatherAndCompare(r, strings.NewReader(want), "hawser_store_refused_readings_total"); err != nil {
			t.Error(err)
		}
		wantMetrics(t, r, "hawser_store_readings_total 7")
		if !strings.Contains(log.String(), `7/tension\" at 2026-03-01T04:00:00Z`) {
			t.Errorf("log does not name the place: %s", log.String())
		}
	})
}

// What waits when Run is stopped is tried once more, with a time of its own.
func TestPumpStop(t *testing.T) {
	for _, c := range []struct {
		name    string
		answers []error
		want    uint64
		fails   bool
	}{
		{"store up", nil, 3, false},
		{"store down", []error{io.ErrUnexpectedEOF, io.ErrUnexpectedEOF}, 0, true},
		{"store back in time", []error{io.ErrUnexpectedEOF}, 3, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := &script{answers: c.answers}
				o := grouped(1000)
				o.Retry(time.Hour, time.Hour)
				p, stop := pumping(t, s, o)
				for i := range 3 { // a full group, and one more
					offer(t, p, uint64(i+1), one(1, 30))
					if c.answers != nil {
						synctest.Wait()
					}
				}
				if err := stop(); (err != nil) != c.fails {
					t.Errorf("stop: %v", err)
				}
				if p.Position() != c.want {
					t.Errorf("position %d, want %d", p.Position(), c.want)
				}
				for i := range 2 { // with room or without
					if err := p.Offer(t.Context(), uint64(4+i), "jetty-1", one(1, 100)); err != nil && !errors.Is(err, store.ErrClosed) {
						t.Errorf("offer after the end: %v", err)
					}
				}
			})
		})
	}
}

func TestPumpStopsWhileStoreHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &script{hold: make(chan struct{})}
		p, stop := pumping(t, s, store.PumpOptions{})
		offer(t, p, 1, one(1, 1))
		time.Sleep(2 * time.Second)
		start := time.Now()
		if err := stop(); !errors.Is(err, context.DeadlineExceeded) || time.Since(start) != 5*time.Second {
			t.Errorf("stopped after %s with %v, want the last flush's 5 s", time.Since(start), err)
		}
	})
}

// volatile is a store that has to be synced.
type volatile struct {
	script
	syncs []int // blocks taken at each
	errs  []error
}

func (v *volatile) Sync() error {
	v.mu.Lock()
	defer v.mu.Unlock()
	if len(v.errs) > 0 {
		err := v.errs[0]
		v.errs = v.errs[1:]
		return err
	}
	v.syncs = append(v.syncs, len(v.taken))
	return nil
}

// The position never goes past what Sync has made durable, and busy times sync
// once a second, not with each group.
func TestPumpSyncs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		v := &volatile{errs: []error{io.ErrShortWrite}}
		v.hold = make(chan struct{})
		p := pumped(t, v, grouped(500))
		offer(t, p, 1, one(1, 30))
		v.hold <- struct{}{} // the append; its sync fails
		synctest.Wait()
		if p.Position() != 0 {
			t.Errorf("position %d after a sync that failed", p.Position())
		}
		v.hold <- struct{}{} // again: the sync works
		synctest.Wait()
		if p.Position() != 1 {
			t.Errorf("position %d after the sync, want 1", p.Position())
		}
		offer(t, p, 2, one(2, 30))
		synctest.Wait()
		offer(t, p, 3, one(3, 30)) // waits while 2 is stored: no rest, no sync
		v.hold <- struct{}{}
		synctest.Wait()
		if p.Position() != 1 {
			t.Errorf("position %d, which is not durable yet", p.Position())
		}
		v.hold <- struct{}{}
		synctest.Wait()
		if p.Position() != 3 || len(v.syncs) != 2 {
			t.Errorf("position %d after %d syncs, want 3 after 2", p.Position(), len(v.syncs))
		}
		close(v.hold)
	})
}

// A full group costs no memory again.
func TestPumpAllocations(t *testing.T) {
	p := store.NewPump(&script{}, grouped(1<<30))
	b := storetest.NewSource(16, 1).Next()
	position := uint64(0)
	n := testing.AllocsPerRun(2000, func() {
		position++
		offer(t, p, position, b)
	})
	// The arrays still grow, by doubling: far less than one for each block.
	if n > 0.5 {
		t.Errorf("%v allocations a block of 193 readings", n)
	}
}
