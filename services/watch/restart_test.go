package watch_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hawser/ingest/batch"
	"hawser/services/alarm"
	"hawser/services/watch"
)

var errDead = errors.New("the process is dead")

// uninterrupted is the alarm log of a watch that never stopped.
func uninterrupted(t *testing.T, entries []batch.Entry, p watch.Plans) []alarm.Record {
	t.Helper()
	r := newRig(entries, p)
	r.toEnd(t)
	return history(t, r.records)
}

// everySnapshot is what the snapshot can have been, after each entry.
func everySnapshot(t *testing.T, entries []batch.Entry, p watch.Plans) (snapshots [][]byte) {
	t.Helper()
	r := newRig(entries, p)
	r.every = 1
	r.journal.save = func(data []byte) error {
		snapshots = append(snapshots, bytes.Clone(data))
		return nil
	}
	r.toEnd(t)
	return snapshots
}

func diff(t fatal, got, want []alarm.Record) {
	t.Helper()
	for i := range max(len(got), len(want)) {
		switch {
		case i >= len(got):
			t.Fatalf("record %d is missing: %+v", i, want[i])
		case i >= len(want):
			t.Fatalf("record %d is one too many: %+v", i, got[i])
		case !reflect.DeepEqual(got[i], want[i]):
			t.Fatalf("record %d:\n%+v, want\n%+v", i, got[i], want[i])
		}
	}
}

// However often a watch is stopped or killed, wherever, and whatever has become of
// its snapshot, the alarm log is that of a watch that never stopped.
func TestAlarmLogDoesNotDependOnRestarts(t *testing.T) {
	entries, p := eventful(t)
	want, snapshots := uninterrupted(t, entries, p), everySnapshot(t, entries, p)
	if len(want) < 15 || len(snapshots) < len(entries)*9/10 {
		t.Fatalf("a story without news: %d records, %d snapshots, %s", len(want), len(snapshots), describe(entries))
	}
	rapid.Check(t, func(t *rapid.T) {
		r := newRig(entries, p)
		r.every = rapid.SampledFrom([]time.Duration{20 * time.Millisecond, time.Hour}).Draw(t, "snapshot every")
		for range rapid.IntRange(1, 4).Draw(t, "restarts") {
			r.interrupted(t)
			r.spoilSnapshot(t, snapshots)
		}
		r.journal.Before, r.journal.save, r.records.Fault = nil, nil, nil
		r.toEnd(t)
		diff(t, history(t, r.records), want)
	})
}

// interrupted runs a watch that is stopped in order, or killed, at an entry or
// while it writes an alarm.
func (r *rig) interrupted(t *rapid.T) {
	n := rapid.IntRange(0, len(r.journal.Entries)-1).Draw(t, "at entry")
	at := r.journal.Entries[n].Position
	how := rapid.SampledFrom([]string{"stopped", "stopped at an alarm", "killed", "killed before an alarm is kept", "killed after"}).Draw(t, "how")
	killed, atAlarm := strings.HasPrefix(how, "killed"), how != "stopped" && how != "killed"
	r.process(t, func(stop func()) {
		dead := false
		r.journal.AtEnd = func(context.Context) error { stop(); return nil }
		r.journal.save = func([]byte) error {
			if dead {
				return errDead
			}
			return nil
		}
		r.journal.Before = func(e *batch.Entry) error {
			if e.Position >= at && !atAlarm {
				dead = killed
				stop()
			}
			if dead {
				return errDead
			}
			return nil
		}
		due := rapid.IntRange(0, 20).Draw(t, "at alarm")
		r.records.Fault = func() (bool, error) {
			if due--; dead || due < 0 && atAlarm {
				kept := !dead && how == "killed after"
				dead = killed
				stop()
				return kept, errDead
			}
			return true, nil
		}
	})
}

// spoilSnapshot does to the snapshot what can happen to one. Any of before is one
// that a watch could have had, as long as the alarm log has come that far.
func (r *rig) spoilSnapshot(t *rapid.T, before [][]byte) {
	s := r.journal.snapshot
	switch how := rapid.SampledFrom([]string{"kept", "lost", "older", "torn", "flipped", "other version", "other state"}).Draw(t, "snapshot"); {
	case how == "kept" || len(s) == 0:
	case how == "lost":
		r.journal.snapshot, r.journal.saved = nil, 0
	case how == "older":
		older := rapid.SampledFrom(before).Draw(t, "snapshot of")
		if positionOf(older) <= positionOf(s) {
			r.journal.snapshot = bytes.Clone(older)
		}
	case how == "torn":
		r.journal.snapshot = s[:rapid.IntRange(0, len(s)-1).Draw(t, "length")]
	case how == "flipped":
		s[rapid.IntRange(0, len(s)-1).Draw(t, "byte")] ^= byte(1 << rapid.IntRange(0, 7).Draw(t, "bit"))
	case how == "other version" && len(s) > 4: // a torn one may be shorter
		s[4]++
	case how == "other state":
		r.journal.snapshot = watch.ResealState(s)
	}
}

// A snapshot of which a bit has changed is not used, nor one cut short.
func TestDamagedSnapshotIsNotUsed(t *testing.T) {
	plan := everyOther(loadPlan(t, "tanker-12"))
	r := newRig(restless(plan).entries(t, 0, 0, 2, first), plans{first: plan})
	r.toEnd(t)
	whole := r.journal.snapshot
	try := func(damage string, spoilt []byte) {
		t.Helper()
		r.journal.snapshot, r.journal.From = spoilt, nil
		told := r.tell()
		r.toEnd(t)
		if r.journal.From[0] != 0 || !strings.Contains(told.String(), "snapshot of a berth not usable") {
			t.Errorf("%s: began after %d; told: %s", damage, r.journal.From[0], told)
		}
	}
	for bit := 0; bit < 8*36; bit += 3 {
		spoilt := bytes.Clone(whole)
		spoilt[bit/8] ^= 1 << (bit % 8)
		try(fmt.Sprintf("bit %d", bit), spoilt)
	}
	for _, n := range []int{1, 4, 9, 17, 18, 20, len(whole) - 1} {
		try(fmt.Sprintf("%d bytes", n), bytes.Clone(whole[:n]))
	}
	try("other detectors", watch.ResealState(bytes.Clone(whole)))
}

// positionOf reads the position in a snapshot, by its drawing: big-endian after
// the magic, the version and the checksum.
func positionOf(s []byte) (p uint64) {
	for _, b := range s[9:17] {
		p = p<<8 | uint64(b)
	}
	return p
}
