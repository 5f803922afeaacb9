package watch_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"hawser/detect"
	"hawser/ingest/batch"
	"hawser/ingest/simulate"
	"hawser/services/alarm"
	"hawser/services/watch"
)

// A brake that slips and a line that parts, in a moving ship: the watch, stopped
// in the middle of each, records what the detectors say of the readings as they
// were made.
func TestSlipAndPartingAcrossStops(t *testing.T) {
	plan := loadPlan(t, "tanker-12")
	tale := simulate.DemoStory(plan)
	tale.Start = begin
	sim, err := simulate.New(plan, tale)
	if err != nil {
		t.Fatal(err)
	}
	var entries []batch.Entry
	var want []detect.Change
	unit := watch.NewUnit(plan)
	for n := range uint64(140) {
		b := sim.Next()
		want = append(want, unit.Take("deck", b)...)
		entries = append(entries, batch.Entry{Position: n + 1, Source: "deck", Plan: first, Data: pack(t, b), Stored: begin})
	}
	r := newRig(entries, plans{first: plan})
	for _, second := range []uint64{74, 131} {
		r.process(t, func(stop func()) {
			r.journal.Before = func(e *batch.Entry) error {
				if e.Position > second {
					stop()
				}
				return nil
			}
		})
	}
	r.journal.Before = nil
	r.toEnd(t)

	got := history(t, r.records)
	if len(got) != len(want) || len(want) == 0 {
		t.Fatalf("%d records of %d changes", len(got), len(want))
	}
	for i, c := range want {
		if g := got[i]; g.Condition != c.Condition.String() || g.Line != c.Line || !g.Time.Equal(c.When()) ||
			(g.Transition == alarm.Raised) != c.Raised || g.Value != c.Value || g.Detail != c.Detail {
			t.Errorf("record %d: %+v, want %+v", i, g, c)
		}
	}
	for _, c := range []detect.Condition{detect.BrakeSlip, detect.LineParted} {
		if !slices.ContainsFunc(want, func(d detect.Change) bool { return d.Condition == c }) {
			t.Errorf("a story without %s", c)
		}
	}
}

// BenchmarkEntry is the cost of a second of a berth of 12 lines at 10 Hz, from the
// journal to the picture.
func BenchmarkEntry(b *testing.B) {
	plan := loadPlan(b, "tanker-12")
	load := simulate.NewLoad(12, 1, begin)
	entries := make([]batch.Entry, 0, b.N)
	samples := 0
	for n := range b.N {
		block := load.Next()
		samples += block.Samples()
		entries = append(entries, batch.Entry{Position: uint64(n + 1), Source: "deck", Plan: first,
			Data: pack(b, block), Stored: time.Now()})
	}
	r := newRig(entries, plans{first: plan})
	r.every = time.Hour
	l := openLog(b, r.records)
	defer l.Close()
	ctx, stop := context.WithCancel(b.Context())
	defer stop()
	r.journal.AtEnd = func(context.Context) error { stop(); return nil }
	w := r.open(b, l)
	b.ReportAllocs()
	b.ResetTimer()
	if err := w.Run(ctx); err != nil {
		b.Fatal(err)
	}
	if r.picture.samples != samples {
		b.Fatalf("%d samples arrived of %d", r.picture.samples, samples)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(samples), "ns/sample")
}
