package watch_test

import (
	"context"
	"log/slog"
	"maps"
	"slices"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"hawser/ingest/batch"
	"hawser/services/alarm"
	"hawser/services/watch"
)

// The stern's gateway stops at 10 s and the bow's goes on; the watch is stopped and
// begun again at any second after that, with its snapshot or with none. The faults on
// record say each time who sent those lines, and are the same.
func TestWhoSentASilentLineIsKnownAfterARestart(t *testing.T) {
	plan := everyOther(loadPlan(t, "tanker-12"))
	entries := slices.DeleteFunc(restless(plan).entries(t, 0, 0, 40, first), func(e batch.Entry) bool {
		return e.Source == "stern" && e.Stored.After(begin.Add(10*time.Second))
	})
	want := map[string]string{}
	for i := range plan.Lines {
		if want[plan.Lines[i].ID] = "stern"; i < len(plan.Lines)/2 {
			want[plan.Lines[i].ID] = "bow"
		}
	}
	run := func(cut int, lost bool) []alarm.Record {
		r := newRig(entries[:cut], plans{first: plan})
		var w *watch.Watch
		toEnd := func() {
			l, err := alarm.Open(t.Context(), alarm.Options{Records: r.records, Logger: slog.New(slog.DiscardHandler),
				Registerer: prometheus.NewRegistry(), Now: func() time.Time { return begin }, Pins: func(berth string) map[string]string { return w.Senders(berth) }})
			if err != nil {
				t.Fatal(err)
			}
			defer l.Close()
			ctx, stop := context.WithCancel(t.Context())
			defer stop()
			r.journal.AtEnd = func(context.Context) error { stop(); return nil }
			w = r.open(t, l)
			if err := w.Run(ctx); err != nil {
				t.Fatal(err)
			}
		}
		toEnd()
		if lost {
			r.journal.snapshot, r.journal.saved = nil, 0
		}
		r.journal.Add(entries[cut:]...)
		toEnd()
		if got := w.Senders(berth); !maps.Equal(got, want) {
			t.Errorf("begun again at entry %d: senders %v, want %v", cut, got, want)
		}
		return history(t, r.records)
	}
	whole := run(len(entries), false)
	silent := 0
	for _, a := range whole {
		if a.Condition == "sensor-fault" && a.Transition == alarm.Raised && a.Source != "" {
			if silent++; a.Source != "stern" || want[a.Line] != "stern" {
				t.Errorf("line %s is said to be of %s: %s", a.Line, a.Source, a.Detail)
			}
		}
	}
	if silent != len(plan.Lines)/2 {
		t.Errorf("%d lines fell silent, want %d", silent, len(plan.Lines)/2)
	}
	for cut := 22; cut < len(entries); cut += 3 {
		diff(t, run(cut, false), whole)
		diff(t, run(cut, true), whole)
	}
}
