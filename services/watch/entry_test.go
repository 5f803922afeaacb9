package watch_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"hawser/detect"
	"hawser/detect/reading"
	"hawser/ingest/batch"
)

func TestUnreadableEntriesArePassedOver(t *testing.T) {
	entries, p := eventful(t)
	r := newRig(entries, p)
	told := r.tell()
	r.toEnd(t)
	unreadable := 0
	for _, e := range entries {
		if string(e.Data) == "no batch" {
			unreadable++
			if want := fmt.Sprintf("position=%d ", e.Position); !strings.Contains(told.String(), want) {
				t.Errorf("not told: %s", want)
			}
		}
	}
	if got := r.counts(t)["unreadable_batches_total"]; unreadable == 0 || got != float64(unreadable) {
		t.Errorf("%v counted of %d", got, unreadable)
	}
	// Passed over is taken: not read again.
	r.journal.Add(batch.Entry{Position: r.journal.Newest() + 1, Source: "bow", Plan: other, Data: []byte("no batch")})
	r.toEnd(t)
	r.journal.From = nil
	r.toEnd(t)
	if got := r.journal.From[0]; got != r.journal.Newest() {
		t.Errorf("begins after %d, want %d", got, r.journal.Newest())
	}
}

// What the intake refused is neither detected on nor shown.
func TestRefusedColumnsAreNotUsed(t *testing.T) {
	plan := everyOther(loadPlan(t, "tanker-12"))
	for _, refused := range []bool{false, true} {
		entries := restless(plan).entries(t, 0, 0, 40, first)
		for i := range entries {
			if refused && entries[i].Source == "bow" {
				entries[i].Refused = []uint32{0} // line 1, over its limit from 20 s on
			}
		}
		r := newRig(entries, plans{first: plan})
		r.toEnd(t)
		shown := r.picture.series[reading.Channel{Line: "1", Kind: reading.Tension}]
		raised := false
		for _, a := range history(t, r.records) {
			raised = raised || a.Line == "1" && a.Condition == "over-limit"
		}
		if raised == refused || (shown == 0) != refused {
			t.Errorf("refused %v: raised %v, %d readings shown", refused, raised, shown)
		}
	}
}

// How the detectors take the ship to lie is shown with the readings that tell it.
func TestHowTheShipLiesIsShown(t *testing.T) {
	plan := everyOther(loadPlan(t, "tanker-12"))
	s := restless(plan)
	entries := s.entries(t, 0, 0, 10, first)
	down := s.block(10, 0, 1)
	down.Series = append(down.Series, reading.Series{Channel: reading.Channel{Kind: reading.UnderWatch}, Decimals: 0,
		Time: down.Series[0].Time[:1], Value: []float64{0}, Quality: []reading.Quality{reading.Good}})
	entries = append(entries, batch.Entry{Position: entries[len(entries)-1].Position + 1, Source: "bow", Plan: first, Data: pack(t, down)})
	entries = append(entries, s.entries(t, entries[len(entries)-1].Position, 11, 20, first)...)
	r := newRig(entries, plans{first: plan})
	r.toEnd(t)
	if r.picture.how != detect.StoodDown {
		t.Errorf("shown as %d, want %d", r.picture.how, detect.StoodDown)
	}
	// Stood down, so nothing is told that no pin shows.
	if least := r.picture.least; len(least) != len(plan.Lines) || slices.ContainsFunc(least, func(kN float64) bool { return !math.IsNaN(kN) }) {
		t.Errorf("partings shown from %v", least)
	}
}

// The journal hands over entries again after a lost connection.
func TestDeliveredTwice(t *testing.T) {
	entries, p := eventful(t)
	want := uninterrupted(t, entries, p)
	once := newRig(entries, p)
	once.toEnd(t)

	r := newRig(entries, p)
	r.journal.Again = func(i int) (before []int) {
		for k := max(0, i-15); k <= i && i%10 == 0; k++ {
			before = append(before, k)
		}
		return before
	}
	r.toEnd(t)
	diff(t, history(t, r.records), want)
	if got, want := r.counts(t)["samples_total"], once.counts(t)["samples_total"]; got != want {
		t.Errorf("%v readings counted, want %v", got, want)
	}
}

// Entries that the journal no longer has are no reason to stop.
func TestAfterAGap(t *testing.T) {
	entries, p := eventful(t)
	r := newRig(entries[:100], p)
	r.toEnd(t)
	r.journal.Entries = entries[180:]
	r.toEnd(t)
	// 120 to 200 s into the story the loads were not there to see: what was over
	// its limit before is not any more, and the plan is another.
	for _, a := range history(t, r.records) {
		if a.Journal > entries[99].Position && a.Journal < entries[180].Position-1 {
			t.Errorf("a change by readings that were not there: %+v", a)
		}
	}
	if got := positionOf(r.journal.snapshot); got != r.journal.Newest() {
		t.Errorf("ended at %d of %d", got, r.journal.Newest())
	}
}

func TestMetrics(t *testing.T) {
	plan := everyOther(loadPlan(t, "tanker-12"))
	synctest.Test(t, func(t *testing.T) {
		s := restless(plan)
		entries := s.entries(t, 0, 0, 40, first)
		for i := range entries {
			entries[i].Stored = time.Now().Add(-50 * time.Millisecond)
		}
		extra := s.block(40, 0, 3)
		extra.Series[0].Channel.Line = "no such line"
		extra.Series[1].Time = []int64{begin.UnixNano(), begin.UnixNano() + 1} // long past
		extra.Series[2].Quality[1] = reading.Bad
		entries = append(entries, batch.Entry{Position: entries[79].Position + 1, Source: "bow", Plan: first,
			Data: pack(t, extra), Stored: time.Now()})
		r := newRig(entries, plans{first: plan})
		_, stop := r.start(t)
		synctest.Wait()
		got := r.counts(t)
		stop()
		// By hand: 6 lines at 2 Hz for 40 s and an entry of 6 readings. Within 40 s lines
		// 1 and 9 (the first and the fifth) come over their limits, 3 s after 20 s and
		// 16 s, and neither is cleared. Late are the two of line 3 and the first 6 from
		// the stern: when they came, the bow's promise had been alone.
		for name, want := range map[string]float64{
			"samples_total": 6*2*40 + 6, "journal_position": float64(r.journal.Newest()),
			"block_delay_seconds": 81, "alarm_delay_seconds": 2, "changes_total over-limit raised": 2,
			"unused_samples_total late": 8, "unused_samples_total unknown": 2, "unused_samples_total bad": 1,
			"unused_samples_total duplicate": 0, "unused_samples_total overflow": 0,
		} {
			if got[name] != want {
				t.Errorf("%s is %v, want %v", name, got[name], want)
			}
		}
		// Read again after a restart without a snapshot, the alarm is not counted again.
		r.journal.snapshot = nil
		_, stop = r.start(t)
		synctest.Wait()
		got = r.counts(t)
		stop()
		if got["alarm_delay_seconds"] != 0 || got["changes_total over-limit raised"] != 0 || got["samples_total"] != 6*2*40+6 {
			t.Errorf("after a restart: %v", got)
		}
	})
}
