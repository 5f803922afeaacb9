package watch_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"hawser/detect/mooring"
	"hawser/ingest/batch"
	"hawser/ingest/planbook"
	"hawser/services/alarm"
)

// overLimit is a journal with line 1 over its limit from 20 s on, never under it
// again, and the plan replaced at a second.
func overLimit(t *testing.T, plan *mooring.Plan, replaced, to int) []batch.Entry {
	t.Helper()
	s := restless(plan)
	s.loads = func(line, second int) float64 {
		load := 100 + float64((second*7+line*5)%11)/10
		if line == 0 && second >= 20 {
			load += 260 // 360 kN: over half of 660 kN, under 0.6 of it
		}
		return load
	}
	entries := s.entries(t, 0, 0, replaced, first)
	return append(entries, s.entries(t, entries[len(entries)-1].Position, replaced, to, other)...)
}

// stronger is the plan with lines of 800 kN: half of it is 400 kN.
func stronger(p *mooring.Plan) *mooring.Plan {
	out := *p
	out.Lines = append([]mooring.Line(nil), p.Lines...)
	for i := range out.Lines {
		out.Lines[i].MBLkN = 800
	}
	return &out
}

const replacedText = "The mooring plan was replaced."

// The alarms of a plan end with it, and the readings after it are held against
// the new one.
func TestPlanIsReplaced(t *testing.T) {
	plan := everyOther(loadPlan(t, "tanker-12"))
	for _, c := range []struct {
		name  string
		after *mooring.Plan
		want  int // records: raised, cleared, raised again
	}{
		{"by one under which all is well", stronger(plan), 2},
		{"by one as strict", plan, 3},
	} {
		t.Run(c.name, func(t *testing.T) {
			entries := overLimit(t, plan, 40, 60)
			r := newRig(entries, plans{first: plan, other: c.after})
			r.toEnd(t)
			got := history(t, r.records)
			if len(got) != c.want || got[0].Condition != "over-limit" || got[0].Line != "1" || got[0].Transition != alarm.Raised {
				t.Fatalf("records: %+v", got)
			}
			clearing := got[1]
			if clearing.ID != got[0].ID || clearing.Transition != alarm.Cleared || clearing.Detail != replacedText {
				t.Errorf("clearing: %+v", clearing)
			}
			if at := entries[80].Position; clearing.Journal >= at || clearing.Journal < entries[79].Position {
				t.Errorf("cleared at position %d, want before %d", clearing.Journal, at)
			}
			if c.want == 3 {
				// 1 s mean over the limit for 3 s, from the first reading under the plan.
				from := begin.Add(40 * time.Second)
				if d := got[2].Time.Sub(from); d < 3*time.Second || d > 4*time.Second {
					t.Errorf("raised again %v after the new plan", d)
				}
			}
			if r.picture.plan != c.after {
				t.Error("the picture is by the old plan")
			}
		})
	}
}

// The entry that brought the new plan is not the one after the snapshot: what
// was between is no longer in the journal. The old plan's alarms end all the same.
func TestPlanIsReplacedInAGap(t *testing.T) {
	plan := everyOther(loadPlan(t, "tanker-12"))
	entries := overLimit(t, plan, 40, 60)
	r := newRig(entries[:30], plans{first: plan, other: stronger(plan)})
	r.toEnd(t) // a snapshot of 15 s, before the alarm
	before := r.journal.snapshot
	r.journal.Add(entries[30:70]...)
	r.toEnd(t)
	if got := history(t, r.records); len(got) != 1 {
		t.Fatalf("records: %+v", got)
	}
	r.journal.snapshot, r.journal.Entries = before, entries[85:]
	r.toEnd(t)
	if got := history(t, r.records); len(got) != 2 || got[1].Detail != replacedText {
		t.Errorf("records: %+v", got)
	}
}

// A plan that comes back starts afresh.
func TestPlanComesBack(t *testing.T) {
	plan := everyOther(loadPlan(t, "tanker-12"))
	entries := overLimit(t, plan, 30, 40)
	for _, e := range overLimit(t, plan, 60, 60)[80:] {
		e.Position += 1000
		entries = append(entries, e)
	}
	r := newRig(entries, plans{first: plan, other: stronger(plan)})
	r.toEnd(t)
	var got []string
	for _, a := range history(t, r.records) {
		got = append(got, a.Detail)
	}
	if len(got) != 3 || !strings.HasSuffix(got[1], replacedText) || !strings.Contains(got[2], "over its working load limit") {
		t.Errorf("records: %q", got)
	}
}

type planFunc func(fingerprint string) (*mooring.Plan, error)

func (f planFunc) PlanByFingerprint(_ context.Context, _, fingerprint string) (*mooring.Plan, error) {
	return f(fingerprint)
}

// A berth whose plan cannot be read waits for it, longer each time up to 5 s, and
// nothing is lost.
func TestPlanCannotBeRead(t *testing.T) {
	entries, p := eventful(t)
	want := uninterrupted(t, entries, p)
	synctest.Test(t, func(t *testing.T) {
		var late atomic.Bool
		r := newRig(entries, planFunc(func(fingerprint string) (*mooring.Plan, error) {
			if fingerprint == other && !late.Load() {
				return nil, errDisk
			}
			return p[fingerprint], nil
		}))
		told := r.tell()
		_, stop := r.start(t)
		time.Sleep(10500 * time.Millisecond)
		synctest.Wait()
		// At 0, 1, 3 and 7 s; the next would be at 12 s.
		if got := r.counts(t)["restarts_total"]; got != 4 {
			t.Errorf("%v tries in 10.5 s, want 4", got)
		}
		if !strings.Contains(told.String(), errDisk.Error()) {
			t.Errorf("told: %s", told)
		}
		late.Store(true)
		time.Sleep(1500 * time.Millisecond)
		synctest.Wait()
		stop()
		diff(t, history(t, r.records), want)
	})
}

// The wait is of a second again where the watch got on in between.
func TestWaitsBeginAnew(t *testing.T) {
	entries, p := eventful(t)
	synctest.Test(t, func(t *testing.T) {
		r := newRig(entries, p)
		var tries []time.Duration
		began := time.Now()
		r.journal.Before = func(e *batch.Entry) error {
			at := e.Position == entries[9].Position && len(tries) < 3 || e.Position == entries[19].Position && len(tries) < 5
			if at {
				tries = append(tries, time.Since(began))
				return errDisk
			}
			return nil
		}
		_, stop := r.start(t)
		time.Sleep(time.Minute)
		stop()
		if want := []time.Duration{0, 1e9, 3e9, 7e9, 8e9}; !slices.Equal(tries, want) {
			t.Errorf("tries at %v, want %v", tries, want)
		}
	})
}

// Batches of a plan that is lost for good are passed over, counted and told, and
// those of the plan after it are watched as if there had been none before.
func TestPlanIsLost(t *testing.T) {
	entries, p := eventful(t)
	second := slices.IndexFunc(entries, func(e batch.Entry) bool { return e.Plan == other })
	want := uninterrupted(t, entries[second:], p)
	if len(want) < 3 {
		t.Fatalf("story: %d records under the second plan", len(want))
	}
	synctest.Test(t, func(t *testing.T) {
		r := newRig(entries[:second], planFunc(func(fingerprint string) (*mooring.Plan, error) {
			if fingerprint == first {
				return nil, fmt.Errorf("berth %s: plan %s is damaged: %w", berth, fingerprint, planbook.ErrDamaged)
			}
			return p[fingerprint], nil
		}))
		told := r.tell()
		l := openLog(t, r.records)
		defer l.Close()
		w := r.open(t, l)
		stop := background(t, w)
		synctest.Wait()
		at := w.States()[0]
		if at.PassedOver != uint64(second) || !strings.Contains(at.NoPlan, "is damaged") || !at.Heard.IsZero() || at.Stopped != "" {
			t.Errorf("state with the plan lost: %+v", at)
		}
		r.journal.Add(entries[second:]...)
		synctest.Wait()
		at = w.States()[0]
		if at.PassedOver != uint64(second) || at.NoPlan != "" || !at.Heard.Equal(time.Now()) {
			t.Errorf("state with a good plan: %+v", at)
		}
		counts := r.counts(t)
		if counts["unplanned_batches_total"] != float64(second) || counts["restarts_total"] != 0 {
			t.Errorf("counts: %v", counts)
		}
		if n := strings.Count(told.String(), "their plan is lost"); n != 1 {
			t.Errorf("told %d times: %s", n, told)
		}
		stop()
		diff(t, history(t, r.records), want)
	})
}
