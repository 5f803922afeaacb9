package alarm_test

import (
	"cmp"
	"errors"
	"fmt"
	"log/slog"
	"reflect"
	"slices"
	"testing"

	"github.com/prometheus/client_golang/prometheus"
	"pgregory.net/rapid"

	"hawser/detect"
	"hawser/services/alarm"
	"hawser/services/alarm/alarmtest"
)

// entry is what one journal entry makes of a berth: under a plan that replaces
// the last, or not, some changes.
type entry struct {
	replaced bool
	changes  []detect.Change
}

// position of a berth's n-th entry; others lie between.
func position(n int) uint64 { return uint64(10 * (n + 1)) }

// effect is a change that has to be in the log, once.
type effect struct {
	Position  uint64
	Change    uint32
	Condition string
	Line      string
	Raised    bool
}

// effects works out by hand, change by change, what a berth's entries amount to.
func effects(entries []entry) []effect {
	type key struct{ condition, line string }
	active := map[key]bool{}
	var out []effect
	for n, e := range entries {
		if e.replaced {
			for k := range active {
				out = append(out, effect{position(n) - 1, 1<<32 - 1, k.condition, k.line, false})
			}
			clear(active)
		}
		for i, c := range e.changes {
			k := key{c.Condition.String(), c.Line}
			if c.Raised == active[k] {
				continue
			}
			if c.Raised {
				active[k] = true
			} else {
				delete(active, k)
			}
			out = append(out, effect{position(n), uint32(i), k.condition, k.line, c.Raised})
		}
	}
	return out
}

func inOrder(e []effect) []effect {
	slices.SortFunc(e, func(a, b effect) int {
		return cmp.Or(cmp.Compare(a.Position, b.Position), cmp.Compare(a.Change, b.Change),
			cmp.Compare(a.Condition, b.Condition), cmp.Compare(a.Line, b.Line))
	})
	return e
}

func drawEntries(t *rapid.T, berth string) []entry {
	conditions := []detect.Condition{detect.OverLimit, detect.SnapLoad}
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) entry {
		e := entry{replaced: rapid.IntRange(0, 9).Draw(t, "replaced") == 0}
		for range rapid.IntRange(0, 3).Draw(t, "changes") {
			e.changes = append(e.changes, change(rapid.SampledFrom(conditions).Draw(t, "condition"),
				rapid.SampledFrom([]string{"1", "2"}).Draw(t, "line"), rapid.Bool().Draw(t, "raised"), rapid.IntRange(0, 30).Draw(t, "at")))
		}
		return e
	}), 0, 12).Draw(t, berth)
}

// run is one life of an alarm log under a journal that delivers at least once.
type run struct {
	t       *rapid.T
	records *alarmtest.Records
	log     *alarm.Log
	entries map[string][]entry
	next    map[string]int // entry to deliver next
}

func (r *run) reopen() {
	if r.log != nil {
		r.log.Close()
	}
	l, err := alarm.Open(r.t.Context(), alarm.Options{Records: r.records, Logger: slog.New(slog.DiscardHandler),
		Registerer: prometheus.NewRegistry(), Now: newClock().Now, KeepCleared: 4})
	if err != nil {
		r.t.Fatal(err)
	}
	r.log = l
}

// deliver hands on a berth's next entry; after an error it stays the next.
func (r *run) deliver(berth string) {
	n := r.next[berth]
	if n == len(r.entries[berth]) {
		return
	}
	e := r.entries[berth][n]
	if e.replaced {
		if err := r.log.Reconcile(r.t.Context(), berth, position(n)-1, nil, nil, "plan replaced"); err != nil {
			return
		}
	}
	if err := r.log.Apply(r.t.Context(), berth, position(n), e.changes); err != nil {
		return
	}
	r.next[berth]++
}

func (r *run) step() {
	berth := rapid.SampledFrom([]string{"east-3", "west-1"}).Draw(r.t, "berth")
	switch rapid.IntRange(0, 9).Draw(r.t, "step") {
	case 0: // the watch starts again from an older snapshot
		r.next[berth] = rapid.IntRange(0, r.next[berth]).Draw(r.t, "snapshot")
	case 1: // the server starts again
		r.reopen()
	case 2: // an append fails, or works and nobody hears of it
		r.records.Fault = once(rapid.Bool().Draw(r.t, "kept"))
	case 3:
		if all := ids(r.log, "", true); len(all) > 0 {
			_, err := r.log.Acknowledge(r.t.Context(), rapid.SampledFrom(all).Draw(r.t, "id"), alarm.Person{By: "mate"}, "")
			var taken *alarm.TakenError
			// Unknown where a record that nobody heard of has pushed it out of memory.
			if err != nil && !errors.Is(err, errDisk) && !errors.Is(err, alarm.ErrUnknown) && !errors.As(err, &taken) {
				r.t.Fatal(err)
			}
		}
	case 4:
		if rapid.Bool().Draw(r.t, "raise") {
			_ = r.log.RaiseOwn(r.t.Context(), alarm.Own{Condition: "journal-pressure", Priority: detect.Warning}) // may meet the fault
		} else {
			_ = r.log.ClearOwn(r.t.Context(), "", "journal-pressure")
		}
	default:
		r.deliver(berth)
	}
}

// settled checks that a log opened afresh has the same state.
func (r *run) settled() {
	live, at := r.log.List("", true)
	applied := [2]uint64{r.log.Applied("east-3"), r.log.Applied("west-1")}
	if uint64(len(r.records.Kept)) != at {
		return // an append nobody heard of: the next call reads it
	}
	r.reopen()
	again, atAgain := r.log.List("", true)
	if !reflect.DeepEqual(live, again) || at != atAgain {
		r.t.Fatalf("state at %d: %+v\nfold at %d: %+v", at, live, atAgain, again)
	}
	if got := [2]uint64{r.log.Applied("east-3"), r.log.Applied("west-1")}; got != applied {
		r.t.Fatalf("applied %v, fold says %v", applied, got)
	}
}

// Whatever is repeated, lost sight of or restarted: the state is the fold of the
// log, and the log has every change that changed something exactly once.
func TestStateIsTheFoldAndNothingIsToldTwice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := &run{t: t, records: &alarmtest.Records{}, next: map[string]int{},
			entries: map[string][]entry{"east-3": drawEntries(t, "east-3"), "west-1": drawEntries(t, "west-1")}}
		r.reopen()
		defer func() { r.log.Close() }()
		for range rapid.IntRange(0, 40).Draw(t, "steps") {
			r.step()
			r.settled()
		}
		for berth, entries := range r.entries {
			for tries := 0; r.next[berth] < len(entries); tries++ {
				if tries > 100 {
					t.Fatalf("berth %s does not get past entry %d", berth, r.next[berth])
				}
				r.deliver(berth)
			}
		}
		got := map[string][]effect{}
		for _, rec := range recordsOf(t, r.log) {
			if rec.Berth != "" && rec.Transition != alarm.Acknowledged {
				got[rec.Berth] = append(got[rec.Berth], effect{rec.Journal, rec.Change, rec.Condition, rec.Line, rec.Transition == alarm.Raised})
			}
		}
		for berth, entries := range r.entries {
			want := inOrder(effects(entries))
			if told := inOrder(slices.Clone(got[berth])); !slices.Equal(told, want) {
				t.Fatalf("berth %s:\n%s\nwant\n%s", berth, fmt.Sprint(told), fmt.Sprint(want))
			}
		}
	})
}

func recordsOf(t *rapid.T, l *alarm.Log) []alarm.Record {
	end := l.Position()
	if end == 0 {
		return nil
	}
	var out []alarm.Record
	stop := errors.New("stop")
	if err := l.Watch(t.Context(), "", 0, func(r *alarm.Record) error {
		if out = append(out, *r); r.Position == end {
			return stop
		}
		return nil
	}); !errors.Is(err, stop) {
		t.Fatal(err)
	}
	return out
}

// How long a start takes by the length of the log.
func BenchmarkOpen(b *testing.B) {
	const records = 100_000
	m := &alarmtest.Records{}
	l, err := alarm.Open(b.Context(), options(m))
	if err != nil {
		b.Fatal(err)
	}
	for i := range records {
		if err := l.Apply(b.Context(), "east-3", uint64(i+1), []detect.Change{change(detect.SnapLoad, "4", i%2 == 0, i)}); err != nil {
			b.Fatal(err)
		}
	}
	l.Close()
	for b.Loop() {
		l, err := alarm.Open(b.Context(), options(m))
		if err != nil || l.Position() != records {
			b.Fatal(err)
		}
		l.Close()
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/records, "ns/record")
}
