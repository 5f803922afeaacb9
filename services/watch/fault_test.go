package watch_test

import (
	"context"
	"errors"
	"hawser/ingest/batch"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

var errDisk = errors.New("no space left on device")

// Every third append to the alarm log fails, whether the record is kept or not:
// the berth is started again each time and nothing is lost or doubled.
func TestAlarmLogFails(t *testing.T) {
	entries, p := eventful(t)
	want := uninterrupted(t, entries, p)
	synctest.Test(t, func(t *testing.T) {
		r := newRig(entries[:200], p)
		r.every = 30 * time.Second
		n, failed := 0, 0
		r.records.Fault = func() (bool, error) {
			if n++; n%3 == 0 {
				failed++
				return n%2 == 0, errDisk
			}
			return true, nil
		}
		_, stop := r.start(t)
		time.Sleep(time.Minute)
		r.journal.Add(entries[200:]...)
		time.Sleep(time.Minute)
		synctest.Wait()
		if got := r.counts(t)["restarts_total"]; failed < 5 || got != float64(failed) {
			t.Errorf("%v restarts for %d failures", got, failed)
		}
		stop()
		r.records.Fault = nil
		diff(t, history(t, r.records), want)
	})
}

// A journal that does not answer is asked again after a second, then after two,
// and the watch stops at once in between.
func TestJournalDoesNotAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(nil, plans{})
		began, tries := time.Now(), []time.Duration(nil)
		r.journal.End = func() (uint64, error) {
			tries = append(tries, time.Since(began))
			return 0, errDisk
		}
		_, stop := r.start(t)
		time.Sleep(3500 * time.Millisecond)
		stop()
		if len(tries) != 3 || tries[1] != time.Second || tries[2] != 3*time.Second {
			t.Errorf("tries at %v", tries)
		}
		if time.Since(began) != 3500*time.Millisecond {
			t.Errorf("stopped after %v", time.Since(began))
		}
	})
}

// A snapshot that cannot be read for the moment is waited for: without it alarms
// might be cleared for want of history.
func TestSnapshotDoesNotAnswer(t *testing.T) {
	entries, p := eventful(t)
	want := uninterrupted(t, entries, p)
	synctest.Test(t, func(t *testing.T) {
		r := newRig(entries, p)
		r.process(t, func(stop func()) {
			r.journal.Before = func(e *batch.Entry) error {
				if e.Position >= entries[250].Position {
					stop()
				}
				return nil
			}
		})
		r.journal.Before, r.warmUp = nil, 1
		tries := 0
		r.journal.load = func() error {
			if tries++; tries < 3 {
				return errDisk
			}
			return nil
		}
		_, stop := r.start(t)
		time.Sleep(5 * time.Second)
		synctest.Wait()
		stop()
		if tries != 3 {
			t.Errorf("asked %d times", tries)
		}
		diff(t, history(t, r.records), want)
	})
}

// Not being able to keep its state does not stop a watch.
func TestSnapshotCannotBeKept(t *testing.T) {
	entries, p := eventful(t)
	want := uninterrupted(t, entries, p)
	synctest.Test(t, func(t *testing.T) {
		r := newRig(entries[:300], p)
		told := r.tell()
		r.every = time.Second
		r.journal.save = func([]byte) error { return errDisk }
		_, stop := r.start(t)
		for _, e := range entries[300:] {
			time.Sleep(time.Second)
			r.journal.Add(e)
			synctest.Wait()
		}
		counts := r.counts(t)
		stop()
		// 40 entries, one of them unreadable, leave 39 times to try.
		if counts["restarts_total"] != 0 || counts["snapshot_errors_total"] != 39 {
			t.Errorf("%v restarts, %v errors", counts["restarts_total"], counts["snapshot_errors_total"])
		}
		if !strings.Contains(told.String(), "state of a berth not kept") || !strings.Contains(told.String(), errDisk.Error()) {
			t.Errorf("told: %s", told)
		}
		diff(t, history(t, r.records), want)
	})
}

func TestStateIsKeptAtTheStop(t *testing.T) {
	entries, p := eventful(t)
	synctest.Test(t, func(t *testing.T) {
		r := newRig(entries, p)
		_, stop := r.start(t)
		synctest.Wait()
		if r.journal.saved != 0 {
			t.Errorf("%d snapshots before their time", r.journal.saved)
		}
		stop()
		if got, want := positionOf(r.journal.snapshot), entries[len(entries)-1].Position; got != want {
			t.Errorf("snapshot of position %d, want %d", got, want)
		}
		// A watch that has taken nothing new has nothing to keep.
		_, stop = r.start(t)
		synctest.Wait()
		stop()
		if r.journal.saved != 1 || r.journal.From[1] != entries[len(entries)-1].Position {
			t.Errorf("%d snapshots, second watch from %d", r.journal.saved, r.journal.From[1])
		}
	})
}

// A journal that hangs at the stop holds it up for 2 s.
func TestStopDoesNotWaitForEver(t *testing.T) {
	entries, p := eventful(t)
	synctest.Test(t, func(t *testing.T) {
		r := newRig(entries[:10], p)
		told := r.tell()
		r.journal.saving = func(ctx context.Context) error { <-ctx.Done(); return ctx.Err() }
		_, stop := r.start(t)
		synctest.Wait()
		began := time.Now()
		stop()
		if took := time.Since(began); took != 2*time.Second {
			t.Errorf("stopped after %v", took)
		}
		if !strings.Contains(told.String(), "state of a berth not kept") {
			t.Errorf("told: %s", told)
		}
	})
}
