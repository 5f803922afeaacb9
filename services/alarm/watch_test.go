package alarm_test

import (
	"context"
	"errors"
	"runtime"
	"slices"
	"testing"
	"time"

	"hawser/detect"
	"hawser/services/alarm"
	"hawser/services/alarm/alarmtest"
)

// deadline is how long a test waits for what has to happen.
const deadline = 10 * time.Second

// toggle appends n records, raises and clears in turn.
func toggle(t *testing.T, l *alarm.Log, from, n int) {
	t.Helper()
	for i := from; i < from+n; i++ {
		must(t, l.Apply(t.Context(), "east-3", uint64(i+1), []detect.Change{change(detect.SnapLoad, "4", i%2 == 0, i)}))
	}
}

// watching starts a watch that sends the positions it is given.
func watching(t *testing.T, l *alarm.Log, after uint64, hold <-chan struct{}) <-chan uint64 {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	out := make(chan uint64, 16)
	ended := make(chan error, 1)
	go func() {
		ended <- l.Watch(ctx, "", after, func(r *alarm.Record) error {
			if hold != nil {
				select {
				case <-hold:
				case <-ctx.Done():
				}
			}
			select {
			case out <- r.Position:
				return nil
			case <-ctx.Done():
				return ctx.Err()
			}
		})
	}()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; !errors.Is(err, context.Canceled) && !errors.Is(err, alarm.ErrClosed) {
			t.Errorf("watch ended: %v", err)
		}
	})
	return out
}

// expect reads the positions from..to, each once and in order.
func expect(t *testing.T, got <-chan uint64, from, to uint64) {
	t.Helper()
	late := time.After(deadline)
	for want := from; want <= to; want++ {
		select {
		case p := <-got:
			if p != want {
				t.Fatalf("position %d, want %d", p, want)
			}
		case <-late:
			t.Fatalf("nothing at position %d within %v", want, deadline)
		}
	}
}

func TestWatchResumesAnywhere(t *testing.T) {
	everyRecords(t, func(t *testing.T, r alarm.Records) {
		if m, ok := r.(*alarmtest.Records); ok && m.Gap > 0 {
			return // positions are compared with counts here
		}
		l := openOn(t, r)
		toggle(t, l, 0, 20)
		for after := range uint64(21) {
			got := watching(t, l, after, nil)
			expect(t, got, after+1, 20)
		}
		got := watching(t, l, 20, nil)
		toggle(t, l, 20, 1)
		expect(t, got, 21, 21)
	})
}

// One watcher stands still while far more is appended than memory keeps.
func TestSlowWatcherMissesNothingAndHoldsUpNobody(t *testing.T) {
	m := &alarmtest.Records{}
	l := openOn(t, m)
	toggle(t, l, 0, 1)
	hold := make(chan struct{})
	slow, quick := watching(t, l, 0, hold), watching(t, l, 0, nil)
	expect(t, quick, 1, 1)
	const n = 5000
	go func() {
		for i := 1; i < n; i++ {
			if err := l.Apply(context.Background(), "east-3", uint64(i+1), []detect.Change{change(detect.SnapLoad, "4", i%2 == 0, i)}); err != nil {
				t.Error(err)
				return
			}
		}
	}()
	expect(t, quick, 2, n)
	close(hold)
	expect(t, slow, 1, n)
}

func TestWatchOfOneBerth(t *testing.T) {
	l := openOn(t, &alarmtest.Records{})
	must(t, l.Apply(t.Context(), "east-3", 1, raised(detect.OverLimit, "4", 0)))
	must(t, l.Apply(t.Context(), "west-1", 2, raised(detect.OverLimit, "4", 0)))
	stop := errors.New("stop")
	var seen []string
	err := l.Watch(t.Context(), "west-1", 0, func(r *alarm.Record) error {
		seen = append(seen, r.Berth)
		return stop
	})
	if !errors.Is(err, stop) || !slices.Equal(seen, []string{"west-1"}) {
		t.Errorf("saw %q, %v", seen, err)
	}
}

func TestWatchPastTheEndIsRefused(t *testing.T) {
	l := openOn(t, &alarmtest.Records{})
	toggle(t, l, 0, 2)
	if err := l.Watch(t.Context(), "", 3, nil); !errors.Is(err, alarm.ErrAhead) {
		t.Errorf("error: %v", err)
	}
}

func TestCloseEndsWatches(t *testing.T) {
	l := openOn(t, &alarmtest.Records{})
	ended := make(chan error, 1)
	started := make(chan struct{})
	toggle(t, l, 0, 1)
	go func() {
		ended <- l.Watch(context.Background(), "", 0, func(*alarm.Record) error { close(started); return nil })
	}()
	<-started
	must(t, l.Close())
	select {
	case err := <-ended:
		if !errors.Is(err, alarm.ErrClosed) {
			t.Errorf("watch ended: %v", err)
		}
	case <-time.After(deadline):
		t.Fatal("watch did not end")
	}
}

func TestWatchesEndAndTheLogGoesOn(t *testing.T) {
	l := openOn(t, &alarmtest.Records{})
	toggle(t, l, 0, 1)
	ended, started := make(chan error, 1), make(chan struct{})
	go func() {
		ended <- l.Watch(context.Background(), "", 0, func(*alarm.Record) error { close(started); return nil })
	}()
	<-started
	l.EndWatches()
	l.EndWatches()
	select {
	case err := <-ended:
		if !errors.Is(err, alarm.ErrClosed) {
			t.Errorf("watch ended: %v", err)
		}
	case <-time.After(deadline):
		t.Fatal("watch did not end")
	}
	if err := l.Watch(t.Context(), "", 0, nil); !errors.Is(err, alarm.ErrClosed) {
		t.Errorf("a watch after the end: %v", err)
	}
	toggle(t, l, 1, 1)
	if l.Position() != 2 {
		t.Error("nothing more was recorded")
	}
}

// Who follows goes on where the log lost its end, and gets again what it could not
// take; the log's close ends it.
func TestFollow(t *testing.T) {
	l := openOn(t, &alarmtest.Records{})
	must(t, l.Apply(t.Context(), "east-3", 1, raised(detect.OverLimit, "4", 0)))
	got, done := make(chan uint64), make(chan struct{})
	refuse := true
	go func() {
		defer close(done)
		l.Follow(t.Context(), 99, func(r *alarm.Record) error { // the log ends at 1
			got <- r.Position
			if refuse {
				refuse = false
				return errors.New("not now")
			}
			return nil
		})
	}()
	for l.Watchers() == 0 {
		runtime.Gosched()
	}
	must(t, l.Apply(t.Context(), "east-3", 2, cleared(detect.OverLimit, "4", 10)))
	if a, b := <-got, <-got; a != 2 || b != 2 {
		t.Errorf("records %d and %d, want the second twice", a, b)
	}
	must(t, l.Close())
	<-done
}
