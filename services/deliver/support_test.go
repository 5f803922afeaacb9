package deliver_test

import (
	"context"
	"fmt"
	"log/slog"
	"strconv"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/goleak"

	"hawser/detect"
	"hawser/ingest/journal"
	"hawser/services/alarm"
	"hawser/services/deliver"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// positions keeps positions in a journal, as the server does.
type positions struct{ *journal.Journal }

func (p positions) SavePosition(ctx context.Context, name string, position uint64) error {
	return p.Put(ctx, "deliveries", name, []byte(strconv.FormatUint(position, 10)))
}

func (p positions) LoadPosition(ctx context.Context, name string) (uint64, bool, error) {
	data, ok, err := p.Get(ctx, "deliveries", name)
	if err != nil || !ok {
		return 0, ok, err
	}
	n, err := strconv.ParseUint(string(data), 10, 64)
	return n, true, err
}

// house is a server's alarm log on a real journal.
type house struct {
	t       *testing.T
	journal *journal.Journal
	alarms  *alarm.Log
	applied uint64
}

// An emergency is escalated after the times given, if any.
func newHouse(t *testing.T, escalate ...time.Duration) *house {
	t.Helper()
	j, err := journal.Open(t.Context(), journal.Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	l, err := alarm.Open(t.Context(), alarm.Options{Records: j, Logger: slog.New(slog.DiscardHandler), Registerer: prometheus.NewRegistry(),
		Escalate: map[detect.Priority][]time.Duration{detect.Emergency: escalate}})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = l.KeepTime(ctx)
	}()
	t.Cleanup(func() {
		cancel()
		<-done
		_, _ = l.Close(), j.Close()
	})
	return &house{t: t, journal: j, alarms: l}
}

// change raises or clears a condition of a line at berth east-3.
func (h *house) change(c detect.Condition, line string, raised bool) {
	h.t.Helper()
	h.changeAt("east-3", c, line, raised)
}

func (h *house) changeAt(berth string, c detect.Condition, line string, raised bool) {
	h.t.Helper()
	h.applied++
	err := h.alarms.Apply(h.t.Context(), berth, h.applied, []detect.Change{{
		Time: time.Now().UnixNano(), Condition: c, Raised: raised, Line: line, Value: 612, Unit: "kN",
		Detail: "Line " + line + ": something to act on.",
	}})
	if err != nil {
		h.t.Fatal(err)
	}
}

// options are quick to retry and otherwise as the server's.
func (h *house) options() deliver.Options {
	return deliver.Options{
		Log: h.alarms, Positions: positions{h.journal}, Logger: slog.New(slog.DiscardHandler),
		Registerer: prometheus.NewRegistry(), RetryMin: time.Millisecond, RetryMax: 20 * time.Millisecond,
	}
}

// start runs deliveries until the function it returns is called.
func (h *house) start(o deliver.Options) (stop func()) {
	h.t.Helper()
	d, err := deliver.New(o)
	if err != nil {
		h.t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(h.t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = d.Run(ctx)
	}()
	stop = func() { cancel(); <-done }
	h.t.Cleanup(stop)
	return stop
}

func want[T comparable](got, want T) error {
	if got != want {
		return fmt.Errorf("%v, want %v", got, want)
	}
	return nil
}
