package alarm_test

import (
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"

	"hawser/detect"
	"hawser/ingest/journal"
	"hawser/services/alarm"
)

func openJournal(t *testing.T, dir string) *journal.Journal {
	t.Helper()
	j, err := journal.Open(t.Context(), journal.Options{Dir: dir})
	must(t, err)
	t.Cleanup(func() { j.Close() })
	return j
}

// The journal's logs share one count, so that the alarm log's positions have
// gaps, and they outlast the process.
func TestOnTheJournal(t *testing.T) {
	dir := t.TempDir()
	j := openJournal(t, dir)
	l := openOn(t, j)
	for i := range 10 {
		must(t, l.Apply(t.Context(), "east-3", uint64(10*i+1), raised(detect.OverLimit, fmt.Sprint(i), i)))
		_, err := j.AppendRecord(t.Context(), "another", []byte("x"))
		must(t, err)
	}
	must(t, l.Apply(t.Context(), "east-3", 95, cleared(detect.OverLimit, "3", 60)))
	_, err := l.Acknowledge(t.Context(), "east-3/over-limit/4/2026-03-01T04:05:10.700Z", alarm.Person{By: "mate"}, "")
	must(t, err)
	records := collect(t, l)
	if len(records) != 12 {
		t.Fatalf("%d records, want 12", len(records))
	}
	// A watcher resumes anywhere.
	got := watching(t, l, records[4].Position, nil)
	for _, want := range records[5:] {
		select {
		case p := <-got:
			if p != want.Position {
				t.Fatalf("position %d, want %d", p, want.Position)
			}
		case <-time.After(deadline):
			t.Fatal("nothing came")
		}
	}
	live, position := l.List("", true)
	must(t, l.Close())
	must(t, j.Close())

	l = openOn(t, openJournal(t, dir))
	again, at := l.List("", true)
	if !reflect.DeepEqual(again, live) || at != position {
		t.Errorf("after the restart at %d: %+v\nbefore at %d: %+v", at, again, position, live)
	}
	must(t, l.Apply(t.Context(), "east-3", 95, cleared(detect.OverLimit, "3", 60))) // again
	if !slices.EqualFunc(collect(t, l), records, func(a, b alarm.Record) bool { return a.Position == b.Position && a.ID == b.ID }) {
		t.Error("the log is not the same after the restart")
	}
}

func BenchmarkApplyOnJournal(b *testing.B) {
	j, err := journal.Open(b.Context(), journal.Options{Dir: b.TempDir()})
	if err != nil {
		b.Fatal(err)
	}
	defer j.Close()
	l, err := alarm.Open(b.Context(), options(j))
	if err != nil {
		b.Fatal(err)
	}
	defer l.Close()
	n := 0
	for b.Loop() {
		if err := l.Apply(b.Context(), "east-3", uint64(n+1), []detect.Change{change(detect.SnapLoad, "4", n%2 == 0, n)}); err != nil {
			b.Fatal(err)
		}
		n++
	}
	if l.Applied("east-3") != uint64(n) {
		b.Fatal("not all were applied")
	}
}
