package watch_test

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/batch"
	"hawser/services/watch"
)

// A berth is heard when it has sent readings, not when it has only promised that
// there are none, and a snapshot tells of it at a start.
func TestStateOfABerth(t *testing.T) {
	plan := everyOther(loadPlan(t, "tanker-12"))
	entries := restless(plan).entries(t, 0, 0, 10, first)
	end := entries[len(entries)-1].Position
	at := begin.Add(10 * time.Second).UnixNano()
	leaving := &reading.Block{Sequence: 11, CompleteUntil: at + int64(time.Second), Series: []reading.Series{
		{Channel: reading.Channel{Kind: reading.UnderWatch}, Time: []int64{at}, Value: []float64{0}}}}
	promise := &reading.Block{Sequence: 12, CompleteUntil: at + int64(20*time.Second)}
	synctest.Test(t, func(t *testing.T) {
		r := newRig(nil, plans{first: plan})
		l := openLog(t, r.records)
		defer l.Close()
		run := func(w *watch.Watch, during func()) {
			t.Helper()
			stop := background(t, w)
			defer stop()
			synctest.Wait()
			during()
		}
		state := func(w *watch.Watch, heard time.Time, underWatch bool) {
			t.Helper()
			synctest.Wait()
			if got := w.States(); len(got) != 1 || got[0] != (watch.State{Berth: berth, Heard: heard, UnderWatch: underWatch}) {
				t.Errorf("state %+v, want heard %v, under watch %v", got, heard, underWatch)
			}
		}
		w := r.open(t, l)
		state(w, time.Time{}, true)
		run(w, func() {
			state(w, time.Time{}, true)
			time.Sleep(time.Minute)
			r.journal.Add(entries...)
			state(w, time.Now(), true)
			heard := time.Now()
			time.Sleep(time.Minute)
			r.journal.Add(batch.Entry{Position: end + 1, Source: "bow", Plan: first, Data: pack(t, promise), Stored: time.Now()},
				batch.Entry{Position: end + 2, Source: "stern", Plan: first, Data: pack(t, promise), Stored: time.Now()})
			state(w, heard, true)
			r.journal.Add(batch.Entry{Position: end + 3, Source: "bridge", Plan: first, Data: pack(t, leaving), Stored: time.Now()})
			state(w, time.Now(), true) // too late to count: all had promised past it
			leaving.Series[0].Time[0] += int64(25 * time.Second)
			leaving.CompleteUntil += int64(30 * time.Second)
			for n, source := range []string{"bridge", "bow", "stern"} {
				r.journal.Add(batch.Entry{Position: end + 4 + uint64(n), Source: source, Plan: first, Data: pack(t, leaving), Stored: time.Now()})
			}
			state(w, time.Now(), false)
		})
		time.Sleep(time.Minute)
		w = r.open(t, l)
		run(w, func() {
			state(w, time.Now(), false)
			heard := time.Now()
			r.journal.Before = func(*batch.Entry) error { return errDisk }
			r.journal.Add(batch.Entry{Position: end + 9, Source: "bow", Plan: first, Data: pack(t, promise), Stored: time.Now()})
			time.Sleep(time.Minute)
			if got := w.States()[0]; !got.Heard.Equal(heard) || got.Stopped != errDisk.Error() {
				t.Errorf("a minute after it stopped, heard at %v: %+v", heard, got)
			}
		})
	})
}

// A source whose clock is set back by ten minutes is found by its readings; one that
// sends what it kept while it was cut off for as long is not, nor one whose clock was
// right all along.
func TestClockSetBack(t *testing.T) {
	plan := everyOther(loadPlan(t, "tanker-12"))
	const at, back = 20, 600 // s
	for name, test := range map[string]struct {
		dated func(second int) int // what a second's readings of the bow are dated
		want  time.Duration
	}{
		"right":      {func(second int) int { return second }, 0},
		"set back":   {func(second int) int { return second - back }, back*time.Second + time.Second/2},
		"catches up": {func(second int) int { return at - back + 2*(second-at) }, 0},
	} {
		t.Run(name, func(t *testing.T) {
			story := restless(plan)
			entries := story.entries(t, 0, 0, at, first)
			for second := at; second < at+15; second++ {
				stored := begin.Add(time.Duration(second+1) * time.Second)
				position := entries[len(entries)-1].Position
				entries = append(entries,
					batch.Entry{Position: position + 1, Source: "stern", Plan: first, Data: pack(t, story.block(second, 3, 6)), Stored: stored},
					batch.Entry{Position: position + 2, Source: "bow", Plan: first, Data: pack(t, story.block(test.dated(second), 0, 3)), Stored: stored})
			}
			r := newRig(entries, plans{first: plan})
			l := openLog(t, r.records)
			defer l.Close()
			w := r.open(t, l)
			ctx, stop := context.WithCancel(t.Context())
			defer stop()
			r.journal.AtEnd = func(context.Context) error { stop(); return nil }
			if err := w.Run(ctx); err != nil {
				t.Fatal(err)
			}
			c := w.States()[0].ClockBack
			if c.By != test.want || test.want > 0 && c.Source != "bow" {
				t.Errorf("found: %+v, want %v of the bow", c, test.want)
			}
		})
	}
}
