package watch_test

import (
	"bytes"
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hawser/detect"
	"hawser/detect/reading"
	"hawser/ingest/batch"
	"hawser/services/alarm"
)

// standing are the conditions and places of the alarms that stand.
func (r *rig) standing(t *testing.T) (out []string) {
	t.Helper()
	l := openLog(t, r.records)
	defer l.Close()
	all, _ := l.List(berth, false)
	for i := range all {
		out = append(out, all[i].Condition+" "+all[i].Place())
	}
	slices.Sort(out)
	return out
}

// partedBefore is a rig whose log has it that line 1 of the plan parted, and one of its
// group, and whose watch knows of that by the log only: it begins under another plan of
// the same ship. What line 1 carries from there on is given.
func partedBefore(t *testing.T, load func(second int) float64) (*rig, func(from, to int, more ...batch.Entry)) {
	t.Helper()
	plan := loadPlan(t, "tanker-12")
	s := restless(plan)
	s.loads = func(line, second int) float64 {
		if line == 0 {
			return load(second)
		}
		return 100 + float64((second*7+line*5)%11)/10
	}
	r := newRig(s.entries(t, 100, 0, 10, first), plans{first: plan, other: stronger(plan)})
	l := openLog(t, r.records)
	group := plan.Lines[0].Group
	for _, c := range []detect.Change{{Condition: detect.LineParted, Line: plan.Lines[0].ID}, {Condition: detect.Redistribution}} {
		c.Raised, c.Group, c.Time = true, group, begin.UnixNano()
		if err := l.Apply(t.Context(), berth, 1+uint64(c.Condition), []detect.Change{c}); err != nil {
			t.Fatal(err)
		}
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	r.toEnd(t)
	return r, func(from, to int, more ...batch.Entry) {
		t.Helper()
		r.journal.Add(append(s.entries(t, r.journal.Newest(), from, to, other), more...)...)
		r.toEnd(t)
	}
}

// What ends a parting ends one too that was told under the plan before: load on its pin
// for a minute, and the end of the watch over the ship.
func TestAPartingOfBeforeEndsAsAnyOther(t *testing.T) {
	r, goOn := partedBefore(t, func(int) float64 { return 100 })
	goOn(10, 60)
	if got, want := r.standing(t), []string{"line-parted 1", "redistribution head"}; !slices.Equal(got, want) {
		t.Fatalf("standing: %q, want %q", got, want)
	}
	goOn(60, 90)
	if got, want := r.standing(t), []string{"redistribution head"}; !slices.Equal(got, want) {
		t.Errorf("with load on its pin: %q, want %q", got, want)
	}
	at := begin.Add(91e9).UnixNano()
	off := &reading.Block{Sequence: 1, CompleteUntil: at - 1, Series: []reading.Series{{
		Channel: reading.Channel{Kind: reading.UnderWatch}, Time: []int64{at}, Value: []float64{0}, Quality: []reading.Quality{reading.Good}}}}
	goOn(90, 91, batch.Entry{Position: r.journal.Newest() + 10, Source: "bow", Plan: other, Data: pack(t, off), Stored: begin})
	goOn(91, 260)
	if got := r.standing(t); len(got) > 0 {
		t.Errorf("with the watch stood down: %q", got)
	}
}

// A line said to hold whose pin still reads nothing is told of as slack: the reset leaves
// nobody in the belief that it is watched. Over a restart, and one without a snapshot.
func TestALineSaidToHoldIsWatchedAgain(t *testing.T) {
	for _, spoilt := range []bool{false, true} {
		t.Run(fmt.Sprintf("snapshot lost %t", spoilt), func(t *testing.T) {
			r, goOn := partedBefore(t, func(int) float64 { return 0 })
			goOn(10, 120)
			parted := []string{"line-parted 1", "redistribution head"}
			if got := r.standing(t); !slices.Equal(got, parted) {
				t.Fatalf("standing: %q, want %q", got, parted)
			}
			l := openLog(t, r.records)
			all, _ := l.List(berth, false)
			for i := range all {
				if _, err := l.Reset(t.Context(), all[i].ID, alarm.Person{By: "mate"}, "found holding"); err != nil {
					t.Fatal(err)
				}
			}
			l.Close()
			if spoilt {
				r.journal.snapshot, r.journal.saved = nil, 0
			}
			goOn(120, 240)
			if got, want := r.standing(t), []string{"slack-line 1"}; !slices.Equal(got, want) {
				t.Errorf("standing: %q, want %q", got, want)
			}
		})
	}
}

// However often the watch is stopped or killed meanwhile, and whatever has become of its
// snapshot, a parting of before stands and ends as over a watch that never stopped.
func TestAPartingOfBeforeDoesNotDependOnRestarts(t *testing.T) {
	plan := everyOther(loadPlan(t, "tanker-12"))
	s := restless(plan)
	usual := s.loads
	s.loads = func(line, second int) float64 {
		if line == 0 && second < 60 {
			return 0
		}
		return usual(line, second)
	}
	entries := s.entries(t, 100, 0, 30, first)
	entries = append(entries, s.entries(t, entries[len(entries)-1].Position, 30, 170, other)...)
	start := func(t fatal) *rig {
		r := newRig(entries, plans{first: plan, other: stronger(plan)})
		l := openLog(t, r.records)
		defer l.Close()
		parting := detect.Change{Condition: detect.LineParted, Raised: true, Line: plan.Lines[0].ID, Group: plan.Lines[0].Group, Time: begin.UnixNano()}
		if err := l.Apply(context.Background(), berth, 1, []detect.Change{parting}); err != nil {
			t.Fatal(err)
		}
		return r
	}
	r := start(t)
	var snapshots [][]byte
	r.every, r.journal.save = 1, func(data []byte) error { snapshots = append(snapshots, bytes.Clone(data)); return nil }
	r.toEnd(t)
	want := history(t, r.records)
	if !slices.ContainsFunc(want, func(a alarm.Record) bool { return a.Condition == "line-parted" && a.Transition == alarm.Cleared }) {
		t.Fatalf("a story without the end of the parting: %d records", len(want))
	}
	rapid.Check(t, func(t *rapid.T) {
		r := start(t)
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
