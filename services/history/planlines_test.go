package history_test

import (
	"context"
	"errors"
	"log/slog"
	"reflect"
	"sync/atomic"
	"testing"
	"time"

	"hawser/ingest/store"
	"hawser/services/history"
)

// lineStore fails the first so many times and notes what it was given.
type lineStore struct {
	fail int
	got  chan history.BerthLines
}

func (s *lineStore) PutLines(_ context.Context, berth string, since time.Time, lines []store.PlanLine) error {
	if s.fail > 0 {
		s.fail--
		return errors.New("down")
	}
	s.got <- history.BerthLines{Berth: berth, Since: since, Lines: lines}
	return nil
}

// A store is told of every berth once, of a changed plan anew, and again of what it
// did not take.
func TestPlanLines(t *testing.T) {
	since := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	berth := func(name, version string, mbl float64) history.BerthLines {
		return history.BerthLines{Berth: name, Version: version, Since: since, Lines: []store.PlanLine{{Line: "1", Group: "head", MBLkN: mbl}}}
	}
	var now atomic.Pointer[[]history.BerthLines]
	now.Store(&[]history.BerthLines{berth("a", "1", 600), berth("b", "1", 700)})
	s := &lineStore{fail: 2, got: make(chan history.BerthLines, 10)}
	p := history.PlanLines{Current: func() []history.BerthLines { return *now.Load() }, Store: s, Every: time.Millisecond, Log: slog.New(slog.DiscardHandler)}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- p.Run(ctx) }()
	want := func(b history.BerthLines) {
		t.Helper()
		b.Version = ""
		if got := <-s.got; !reflect.DeepEqual(got, b) {
			t.Errorf("told %+v, want %+v", got, b)
		}
	}
	want(berth("a", "1", 600))
	want(berth("b", "1", 700))
	now.Store(&[]history.BerthLines{berth("a", "1", 600), berth("b", "2", 800)})
	want(berth("b", "2", 800))
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if len(s.got) > 0 {
		t.Errorf("told again: %+v", <-s.got)
	}
}
