package watch_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"hawser/ingest/batch"
	"hawser/services/alarm"
	"hawser/services/watch"
)

// subjects are the active alarms, by what they are about.
func subjects(l *alarm.Log) []string {
	list, _ := l.List(berth, false)
	var out []string
	for _, a := range list {
		out = append(out, a.Condition+" "+a.Line)
	}
	slices.Sort(out)
	return out
}

// active is what a watch that took just these entries has active.
func active(t *testing.T, entries []batch.Entry, p watch.Plans) []string {
	t.Helper()
	r := newRig(entries, p)
	r.toEnd(t)
	l := openLog(t, r.records)
	defer l.Close()
	return subjects(l)
}

// powerCut is a berth whose journal lost its end, from 43 s on, with line 1 seen
// over its limit from 50 s on, and what the sources sent after it.
func powerCut(t *testing.T, again bool) (r *rig, after []batch.Entry) {
	t.Helper()
	plan := everyOther(loadPlan(t, "tanker-12"))
	s := restless(plan)
	over := true
	s.loads = func(line, second int) float64 {
		load := 100 + float64((second*7+line*5)%11)/10
		if over && line == 0 && second >= 50 {
			load += 300
		}
		return load
	}
	r = newRig(s.entries(t, 0, 0, 60, first), plans{first: plan})
	over = again
	after = s.entries(t, r.journal.Entries[85].Position, 43, 90, first)
	return r, after
}

// The snapshot is past what the journal has left.
func TestJournalRolledBackBehindTheSnapshot(t *testing.T) {
	for _, again := range []bool{true, false} {
		r, after := powerCut(t, again)
		r.toEnd(t)
		last := r.journal.Entries[85].Position
		r.journal.Cut(last)
		told := r.tell()
		want := active(t, append(slices.Clone(r.journal.Entries), after...), r.plans)
		if (len(want) == 1) != again {
			t.Fatalf("story: %q", want)
		}

		// The watch that finds out is killed before it keeps anything of its own.
		r.journal.save = func(data []byte) error {
			if len(data) > 0 {
				return errDead
			}
			return nil
		}
		r.process(t, func(stop func()) {
			r.journal.Before = func(*batch.Entry) error { stop(); return errDead }
		})
		if !strings.Contains(told.String(), "level=WARN") || !strings.Contains(told.String(), "past the end of the journal") {
			t.Errorf("told: %s", told)
		}
		// By the next start the journal has grown past the snapshot that was.
		r.journal.save, r.journal.Before = nil, nil
		r.journal.Add(after...)
		r.journal.End = func() (uint64, error) { return after[79].Position, nil } // more comes after the start
		r.toEnd(t)
		l := openLog(t, r.records)
		if got := subjects(l); !slices.Equal(got, want) {
			t.Errorf("active: %q, want %q", got, want)
		}
		l.Close()
	}
}

// The snapshot is from before what was lost: what the lost readings raised stays
// raised while they may come again, and no longer.
func TestJournalRolledBackAfterTheSnapshot(t *testing.T) {
	for _, again := range []bool{true, false} {
		r, after := powerCut(t, again)
		all := r.journal.Entries
		r.journal.Entries = all[:60]
		r.toEnd(t)
		kept := r.journal.snapshot
		r.journal.Add(all[60:]...)
		r.toEnd(t)
		r.journal.snapshot = kept
		r.journal.Cut(all[85].Position)
		r.journal.Add(after...)

		// The end that the watch is told is the one before the sources came back.
		r.journal.End = func() (uint64, error) { return all[85].Position, nil }
		r.toEnd(t)
		var got []alarm.Transition
		for _, a := range history(t, r.records) {
			got = append(got, a.Transition)
		}
		want := []alarm.Transition{alarm.Raised, alarm.Rewound}
		if !again {
			want = append(want, alarm.Cleared)
		}
		if !slices.Equal(got, want) {
			t.Errorf("sent again %v: %v, want %v", again, got, want)
		}
	}
}

// Where the alarm log cannot be brought back at first, the journal has grown by
// the time it can: it is brought back to where the journal had ended all the same.
func TestRolledBackWhileTheAlarmLogFails(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r, after := powerCut(t, true)
		r.toEnd(t)
		r.journal.AtEnd = nil
		last := r.journal.Entries[85].Position
		r.journal.Cut(last)
		fails := 3
		r.records.Fault = func() (bool, error) {
			if fails--; fails >= 0 {
				return false, errDisk
			}
			return true, nil
		}
		l, stop := r.start(t)
		synctest.Wait()
		r.journal.Add(after...)
		time.Sleep(10 * time.Second)
		synctest.Wait()
		if got := subjects(l); !slices.Equal(got, []string{"over-limit 1"}) {
			t.Errorf("active: %q", got)
		}
		stop()
		rewound := 0
		for _, a := range history(t, r.records) {
			if a.Transition == alarm.Rewound {
				rewound++
				if a.Journal != last {
					t.Errorf("brought back to %d, want %d", a.Journal, last)
				}
			}
		}
		if rewound != 1 {
			t.Errorf("brought back %d times", rewound)
		}
	})
}

// The sources fill the journal again, past where the watch had come, before the
// watch begins: it was prepared before they could, by this process or by one that
// was killed at once.
func TestRefilledBeforeTheWatchBegins(t *testing.T) {
	for _, killed := range []bool{false, true} {
		for _, again := range []bool{true, false} {
			r, after := powerCut(t, again)
			r.toEnd(t)
			r.journal.Cut(r.journal.Entries[85].Position)
			want := active(t, append(slices.Clone(r.journal.Entries), after...), r.plans)
			if (len(want) == 1) != again {
				t.Fatalf("story: %q", want)
			}
			l := openLog(t, r.records)
			w := r.open(t, l)
			if err := w.Prepare(t.Context()); err != nil {
				t.Fatal(err)
			}
			if r.journal.Newest() >= after[39].Position {
				t.Fatal("story: the journal has not lost what comes again")
			}
			r.journal.Add(after[:80]...)
			if killed {
				l.Close()
				l = openLog(t, r.records)
				w = r.open(t, l)
				if err := w.Prepare(t.Context()); err != nil {
					t.Fatal(err)
				}
			}
			r.journal.Add(after[80:]...)
			ctx, stop := context.WithCancel(t.Context())
			r.journal.AtEnd = func(context.Context) error { stop(); return nil }
			if err := w.Run(ctx); err != nil {
				t.Fatal(err)
			}
			if got := subjects(l); !slices.Equal(got, want) {
				t.Errorf("killed %v, sent again %v: active %q, want %q", killed, again, got, want)
			}
			raised := 0
			for _, a := range history(t, r.records) {
				if a.Transition == alarm.Raised {
					raised++
				}
			}
			if raised != 1 {
				t.Errorf("killed %v, sent again %v: raised %d times", killed, again, raised)
			}
			l.Close()
			stop()
		}
	}
}

// The journal loses its end while the watch follows, and by the time the watch asks
// again it is filled past its old end.
func TestRefilledUnderWay(t *testing.T) {
	for _, again := range []bool{true, false} {
		synctest.Test(t, func(t *testing.T) {
			r, after := powerCut(t, again)
			r.toEnd(t)
			r.journal.AtEnd = nil
			last := r.journal.Entries[85].Position
			want := active(t, append(slices.Clone(r.journal.Entries[:86]), after...), r.plans)
			l, stop := r.start(t)
			synctest.Wait()
			if got := subjects(l); !slices.Equal(got, []string{"over-limit 1"}) {
				t.Fatalf("story: %q", got)
			}
			lost := false
			r.journal.Before = func(*batch.Entry) error {
				if lost {
					return nil
				}
				lost = true
				r.journal.Cut(last)
				r.journal.Add(after[:80]...)
				return fmt.Errorf("follow: %w", &batch.RolledBackError{Last: last})
			}
			time.Sleep(time.Minute)
			r.journal.Add(batch.Entry{Position: r.journal.Newest() + 1, Source: "bow", Plan: first})
			time.Sleep(2 * time.Second)
			r.journal.Add(after[80:]...)
			synctest.Wait()
			if got := subjects(l); !slices.Equal(got, want) {
				t.Errorf("sent again %v: active %q, want %q", again, got, want)
			}
			if got := r.counts(t)["restarts_total"]; got != 1 {
				t.Errorf("%v restarts", got)
			}
			stop()
		})
	}
}

// A journal that cannot tell its end lets nothing begin.
func TestPrepareFails(t *testing.T) {
	r := newRig(nil, plans{})
	r.journal.End = func() (uint64, error) { return 0, errDisk }
	l := openLog(t, r.records)
	defer l.Close()
	if err := r.open(t, l).Prepare(t.Context()); !errors.Is(err, errDisk) || !strings.HasPrefix(err.Error(), "berth "+berth+": ") {
		t.Errorf("error %v", err)
	}
}

// The journal goes back between being asked for its end and being followed, as a
// server outside can: the berth starts again and finds out.
func TestRolledBackBetweenAskingAndFollowing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r, after := powerCut(t, true)
		r.toEnd(t)
		r.journal.AtEnd = nil
		was, asked := r.journal.Newest(), 0
		r.journal.Cut(r.journal.Entries[85].Position)
		r.journal.End = func() (uint64, error) {
			if asked++; asked == 1 {
				return was, nil
			}
			return r.journal.Newest(), nil
		}
		told := r.tell()
		l, stop := r.start(t)
		synctest.Wait()
		if !strings.Contains(told.String(), "journal lost what came after") {
			t.Errorf("told: %s", told)
		}
		time.Sleep(2 * time.Second)
		r.journal.Add(after...)
		synctest.Wait()
		if got := subjects(l); !slices.Equal(got, []string{"over-limit 1"}) {
			t.Errorf("active: %q", got)
		}
		if got := r.counts(t)["restarts_total"]; got != 1 {
			t.Errorf("%v restarts", got)
		}
		stop()
	})
}

// What the journal has left is not enough to know the alarms by: those that
// cannot be found again are cleared, once all there is has been looked at, and it
// is said why.
func TestTooLittleLeftToLearnFrom(t *testing.T) {
	plan := everyOther(loadPlan(t, "tanker-12"))
	entries := overLimit(t, plan, 60, 60)
	r := newRig(entries[:60], plans{first: plan})
	r.toEnd(t) // 30 s
	raised := history(t, r.records)
	if len(raised) != 1 {
		t.Fatalf("story: %+v", raised)
	}
	r.journal.snapshot, r.warmUp = nil, 2
	r.journal.Entries = entries[80:] // 40 s on
	for i := range r.journal.Entries {
		if r.journal.Entries[i].Source == "bow" {
			r.journal.Entries[i].Refused = []uint32{0}
		}
	}
	last := entries[109].Position
	r.journal.End = func() (uint64, error) { return last, nil } // more comes after the start
	r.toEnd(t)
	got := history(t, r.records)
	i := slices.IndexFunc(got, func(a alarm.Record) bool { return a.ID == raised[0].ID && a.Transition == alarm.Cleared })
	if i < 0 || got[i].Detail != "Not found again after the watch started anew." || got[i].Journal < last {
		t.Errorf("records: %+v", got)
	}
}
