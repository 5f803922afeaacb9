package alarm_test

import (
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"pgregory.net/rapid"

	"hawser/detect"
	"hawser/services/alarm"
	"hawser/services/alarm/alarmtest"
)

// by whom things are done in these tests.
var (
	mate    = alarm.Person{By: "mate", Side: alarm.Ship}
	foreman = alarm.Person{By: "foreman"} // of the terminal, as who does not say is
)

// timed opens a log whose clock stands until it is moved, and keeps its time.
func timed(t *testing.T, r alarm.Records) (l *alarm.Log, pass func(time.Duration)) {
	t.Helper()
	c := newClock()
	o := options(r)
	o.Now = c.Now
	l = open(t, o)
	return l, func(d time.Duration) {
		t.Helper()
		c.Move(d)
		must(t, l.Tick(t.Context()))
	}
}

func lifecycleOf(t *testing.T, l *alarm.Log, id string) alarm.Lifecycle {
	t.Helper()
	all, _ := l.List("", true)
	for i := range all {
		if all[i].ID == id {
			return all[i].Lifecycle()
		}
	}
	t.Fatalf("no alarm %s", id)
	return 0
}

// The states an alarm goes through, by ISA-18.2's lifecycle.
func TestLifecycle(t *testing.T) {
	l, pass := timed(t, &alarmtest.Records{})
	at := uint64(0)
	apply := func(c []detect.Change) {
		t.Helper()
		at++
		must(t, l.Apply(t.Context(), "east-3", at, c))
	}
	const id = "east-3/over-limit/4/2026-03-01T04:05:06.700Z"
	is := func(want alarm.Lifecycle) {
		t.Helper()
		if got := lifecycleOf(t, l, id); got != want {
			t.Fatalf("state %d, want %d", got, want)
		}
	}
	apply(raised(detect.OverLimit, "4", 0))
	is(alarm.ActiveUnacknowledged)
	_, err := l.Shelve(t.Context(), id, mate, "tug alongside", time.Hour)
	must(t, err)
	is(alarm.Shelved)
	pass(time.Hour - time.Second)
	is(alarm.Shelved)
	pass(time.Second)
	is(alarm.ActiveUnacknowledged)
	_, err = l.TakeOutOfService(t.Context(), alarm.Subject{Berth: "east-3", Line: "4"}, foreman, "load pin changed")
	must(t, err)
	is(alarm.OutOfService)
	must(t, l.EndHold(t.Context(), alarm.Subject{Berth: "east-3", Line: "4"}, foreman, "new pin in"))
	is(alarm.ActiveUnacknowledged)
	_, err = l.Acknowledge(t.Context(), id, foreman, "")
	must(t, err)
	is(alarm.ActiveAcknowledged)
	apply(cleared(detect.OverLimit, "4", 60))
	is(alarm.Normal)
}

// An alarm that is over stays until somebody has seen it; a warning does not.
func TestReturnedUnacknowledged(t *testing.T) {
	l, _ := timed(t, &alarmtest.Records{})
	must(t, l.Apply(t.Context(), "east-3", 1, []detect.Change{
		change(detect.SnapLoad, "4", true, 0), change(detect.SnapLoad, "4", false, 1),
		change(detect.Imbalance, "5", true, 0), change(detect.Imbalance, "5", false, 1),
	}))
	const snap, imbalance = "east-3/snap-load/4/2026-03-01T04:05:06.700Z", "east-3/imbalance/5/2026-03-01T04:05:06.700Z"
	if a, b := lifecycleOf(t, l, snap), lifecycleOf(t, l, imbalance); a != alarm.ReturnedUnacknowledged || b != alarm.Normal {
		t.Errorf("alarm over: %d, warning over: %d", a, b)
	}
	_, err := l.Acknowledge(t.Context(), snap, mate, "")
	must(t, err)
	if a := lifecycleOf(t, l, snap); a != alarm.Normal {
		t.Errorf("seen: %d", a)
	}
}

// What raised an alarm is not so any more once it has cleared: what is so then stands
// beside it, over a restart too.
func TestWhatIsSoOnceCleared(t *testing.T) {
	records := &alarmtest.Records{}
	l, _ := timed(t, records)
	up, down := change(detect.OverLimit, "4", true, 0), change(detect.OverLimit, "4", false, 60)
	up.Detail, down.Detail = "Line 4 at 345 kN.", "Line 4 back to 88 kN."
	must(t, l.Apply(t.Context(), "east-3", 1, []detect.Change{up}))
	id := ids(l, "", false)[0]
	if s, _ := l.Find(id); s.Detail != up.Detail || s.Return != (alarm.Return{}) || s.Message().ClearedDetail != "" {
		t.Errorf("raised: %q, then %+v", s.Detail, s.Return)
	}
	must(t, l.Apply(t.Context(), "east-3", 2, []detect.Change{down}))
	must(t, l.Close())
	again, _ := timed(t, records)
	s, _ := again.Find(id)
	if s.Detail != up.Detail || s.Return.Detail != down.Detail || s.Return.Recorded.IsZero() || s.Message().ClearedDetail != down.Detail {
		t.Errorf("cleared: %q, then %+v", s.Detail, s.Return)
	}
}

// Ship and terminal see the same alarm, and each acknowledges for its side.
func TestEachSideAcknowledges(t *testing.T) {
	l, _ := timed(t, &alarmtest.Records{})
	must(t, l.Apply(t.Context(), "east-3", 1, raised(detect.LineParted, "4", 0)))
	id := ids(l, "", false)[0]
	_, err := l.Acknowledge(t.Context(), id, mate, "crew called")
	must(t, err)
	after, err := l.Acknowledge(t.Context(), id, foreman, "tug called")
	must(t, err)
	if n := len(after.Acknowledgements); n != 2 || after.Acknowledged().By != "mate" {
		t.Errorf("acknowledged: %+v", after.Acknowledgements)
	}
	var taken *alarm.TakenError
	if _, err := l.Acknowledge(t.Context(), id, alarm.Person{By: "master", Side: alarm.Ship}, ""); !errors.As(err, &taken) || taken.By != "mate" {
		t.Errorf("the ship's second: %v", err)
	}
}

func TestWhatCannotBeHeld(t *testing.T) {
	l, _ := timed(t, &alarmtest.Records{})
	must(t, l.Apply(t.Context(), "east-3", 1, []detect.Change{change(detect.LineParted, "4", true, 0), change(detect.OverLimit, "5", true, 0)}))
	const parted, over = "east-3/line-parted/4/2026-03-01T04:05:06.700Z", "east-3/over-limit/5/2026-03-01T04:05:06.700Z"
	shelve := func(id string, p alarm.Person, reason string, d time.Duration) error {
		_, err := l.Shelve(t.Context(), id, p, reason, d)
		return err
	}
	out := func(p alarm.Person, reason string) error {
		_, err := l.TakeOutOfService(t.Context(), alarm.Subject{Berth: "east-3", Line: "5"}, p, reason)
		return err
	}
	for _, c := range []struct{ got, want error }{
		{shelve(parted, mate, "known", time.Hour), alarm.ErrEmergency},
		{shelve(over, mate, " ", time.Hour), alarm.ErrNoReason},
		{shelve(over, alarm.Person{}, "known", time.Hour), alarm.ErrNoName},
		{shelve(over, mate, "known", 0), alarm.ErrPeriod},
		{shelve(over, mate, "known", alarm.ShelfMost+1), alarm.ErrPeriod},
		{shelve("east-3/never", mate, "known", time.Hour), alarm.ErrUnknown},
		{out(mate, ""), alarm.ErrNoReason},
		{out(alarm.Person{By: " "}, "known"), alarm.ErrNoName},
		{l.EndHold(t.Context(), alarm.Subject{Berth: "east-3", Line: "5"}, mate, ""), alarm.ErrNotHeld},
	} {
		if !errors.Is(c.got, c.want) {
			t.Errorf("error %v, want %v", c.got, c.want)
		}
	}
	if n := l.Position(); n != 2 {
		t.Errorf("%d records, want the two raises", n)
	}
}

// A shelf is for the condition, not for one raise of it: what comes again within
// its time is quiet from the start, but on record.
func TestShelfOutlivesTheAlarm(t *testing.T) {
	r := &alarmtest.Records{}
	l, pass := timed(t, r)
	must(t, l.Apply(t.Context(), "east-3", 1, raised(detect.OverLimit, "4", 0)))
	_, err := l.Shelve(t.Context(), ids(l, "", false)[0], mate, "known swell", time.Hour)
	must(t, err)
	must(t, l.Apply(t.Context(), "east-3", 2, cleared(detect.OverLimit, "4", 10)))
	must(t, l.Apply(t.Context(), "east-3", 3, raised(detect.OverLimit, "4", 20)))
	again := ids(l, "", false)[0]
	if got := lifecycleOf(t, l, again); got != alarm.Shelved {
		t.Errorf("raised again: %d", got)
	}
	if h := l.Holds("east-3"); len(h) != 1 || h[0].By != "mate" || h[0].Reason != "known swell" {
		t.Errorf("holds: %+v", h)
	}
	pass(2 * time.Hour)
	if got := lifecycleOf(t, l, again); got != alarm.ActiveUnacknowledged || len(l.Holds("")) != 0 {
		t.Errorf("after its time: %d, %v", got, l.Holds(""))
	}
}

// What nobody takes on goes to the next in line, once a step; what is held does
// not, and its time begins anew.
func TestEscalation(t *testing.T) {
	l, pass := timed(t, &alarmtest.Records{})
	must(t, l.Apply(t.Context(), "east-3", 1, []detect.Change{
		change(detect.LineParted, "4", true, 0), change(detect.OverLimit, "5", true, 0), change(detect.Imbalance, "6", true, 0)}))
	levels := func(want ...int) {
		t.Helper()
		var got []int
		all, _ := l.List("", false)
		slices.SortFunc(all, func(a, b alarm.State) int { return int(a.Priority) - int(b.Priority) })
		for i := range all {
			got = append(got, all[i].Level)
		}
		if !slices.Equal(got, want) {
			t.Fatalf("levels of emergency, alarm, warning: %v, want %v", got, want)
		}
	}
	over := "east-3/over-limit/5/2026-03-01T04:05:06.700Z"
	pass(59 * time.Second)
	levels(0, 0, 0)
	pass(time.Second)
	levels(1, 0, 0)
	pass(0)
	levels(1, 0, 0)
	_, err := l.Shelve(t.Context(), over, mate, "known", 10*time.Minute)
	must(t, err)
	pass(4 * time.Minute)
	levels(2, 0, 0)
	pass(6 * time.Minute) // the shelf's time is over
	levels(2, 0, 0)
	pass(5 * time.Minute)
	levels(2, 1, 0)
	_, err = l.Acknowledge(t.Context(), over, foreman, "")
	must(t, err)
	pass(10 * time.Hour)
	levels(2, 1, 0)
}

// legal is every way from one state to another, by what happened: the table of
// the lifecycle, written out apart from the code.
var legal = map[alarm.Transition]map[alarm.Lifecycle][]alarm.Lifecycle{
	alarm.Raised: {alarm.Normal: {alarm.ActiveUnacknowledged, alarm.Shelved, alarm.OutOfService}},
	alarm.Cleared: {
		alarm.ActiveUnacknowledged: {alarm.ReturnedUnacknowledged, alarm.Normal}, alarm.ActiveAcknowledged: {alarm.Normal},
		alarm.Shelved: {alarm.Normal}, alarm.OutOfService: {alarm.Normal},
	},
	alarm.Acknowledged: {
		alarm.ActiveUnacknowledged: {alarm.ActiveAcknowledged}, alarm.ActiveAcknowledged: {alarm.ActiveAcknowledged},
		alarm.ReturnedUnacknowledged: {alarm.Normal}, alarm.Normal: {alarm.Normal},
		alarm.Shelved: {alarm.Shelved}, alarm.OutOfService: {alarm.OutOfService},
	},
	alarm.Escalated: {alarm.ActiveUnacknowledged: {alarm.ActiveUnacknowledged}},
	alarm.PutOnShelf: {
		alarm.ActiveUnacknowledged: {alarm.Shelved}, alarm.ActiveAcknowledged: {alarm.Shelved}, alarm.Shelved: {alarm.Shelved},
		alarm.OutOfService: {alarm.Shelved}, alarm.ReturnedUnacknowledged: {alarm.Normal}, alarm.Normal: {alarm.Normal},
	},
	alarm.HoldEnded: {
		alarm.Shelved:      {alarm.ActiveUnacknowledged, alarm.ActiveAcknowledged},
		alarm.OutOfService: {alarm.ActiveUnacknowledged, alarm.ActiveAcknowledged},
	},
}

// Whatever happens in whatever order, no alarm gets where the table does not lead,
// what a record says of the state is what the fold says, and a log opened afresh
// says the same.
func TestNoIllegalState(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, r := newClock(), &alarmtest.Records{}
		reopen := func() *alarm.Log {
			l, err := alarm.Open(t.Context(), alarm.Options{Records: r, Logger: slog.New(slog.DiscardHandler), Registerer: prometheus.NewRegistry(), Now: c.Now})
			if err != nil {
				t.Fatal(err)
			}
			return l
		}
		l := reopen()
		defer func() { l.Close() }()
		states := map[string]alarm.Lifecycle{}
		seen := uint64(0)
		for n := range rapid.IntRange(1, 40).Draw(t, "steps") {
			step(t, l, c, uint64(n+1))
			if rapid.IntRange(0, 9).Draw(t, "restart") == 0 {
				l.Close()
				l = reopen()
			}
			for _, rec := range recordsOf(t, l) {
				if rec.Position <= seen || rec.ID == "" {
					continue
				}
				from, ok := states[rec.ID]
				if !ok {
					from = alarm.Normal
				}
				if !slices.Contains(legal[rec.Transition][from], rec.Lifecycle) {
					t.Fatalf("record %d: %s went from state %d to %d by transition %d", rec.Position, rec.ID, from, rec.Lifecycle, rec.Transition)
				}
				states[rec.ID] = rec.Lifecycle
			}
			seen = l.Position()
			all, _ := l.List("", true)
			for i := range all {
				states[all[i].ID] = agree(t, &all[i], states[all[i].ID])
			}
		}
	})
}

// agree checks a state of the fold against the one the records led to. A hold on
// all of a line, or another on the same condition, changes alarms without a record
// of theirs.
func agree(t *rapid.T, s *alarm.State, byRecords alarm.Lifecycle) alarm.Lifecycle {
	now := s.Lifecycle()
	held := s.Hold != nil || byRecords == alarm.OutOfService || byRecords == alarm.Shelved
	if now != byRecords && !held && byRecords != alarm.Normal {
		t.Fatalf("%s is in state %d, its records led to %d", s.ID, now, byRecords)
	}
	return now
}

func step(t *rapid.T, l *alarm.Log, c *alarmtest.Clock, position uint64) {
	ctx := t.Context()
	line := rapid.SampledFrom([]string{"1", "2"}).Draw(t, "line")
	condition := rapid.SampledFrom([]detect.Condition{detect.LineParted, detect.OverLimit, detect.Imbalance}).Draw(t, "condition")
	person := rapid.SampledFrom([]alarm.Person{mate, foreman}).Draw(t, "person")
	id := ""
	if all := ids(l, "", true); len(all) > 0 {
		id = rapid.SampledFrom(all).Draw(t, "id")
	}
	var err error
	switch rapid.IntRange(0, 7).Draw(t, "step") {
	case 0, 1, 2:
		err = l.Apply(ctx, "east-3", position, []detect.Change{change(condition, line, rapid.Bool().Draw(t, "raised"), int(position))})
	case 3:
		_, err = l.Acknowledge(ctx, id, person, "")
	case 4:
		_, err = l.Shelve(ctx, id, person, "known", time.Hour)
	case 5:
		s := alarm.Subject{Berth: "east-3", Line: line}
		if rapid.Bool().Draw(t, "one condition") {
			s.Condition = condition.String()
		}
		_, err = l.TakeOutOfService(ctx, s, person, "repair")
	case 6:
		s := alarm.Subject{Berth: "east-3", Line: line}
		if rapid.Bool().Draw(t, "one condition") {
			s.Condition = condition.String()
		}
		err = l.EndHold(ctx, s, person, "")
	case 7:
		c.Move(time.Duration(rapid.IntRange(0, 90).Draw(t, "minutes")) * time.Minute)
		err = l.Tick(ctx)
	}
	var taken *alarm.TakenError
	for _, refused := range []error{alarm.ErrUnknown, alarm.ErrEmergency, alarm.ErrNotHeld} {
		if errors.Is(err, refused) {
			return
		}
	}
	if err != nil && !errors.As(err, &taken) {
		t.Fatal(fmt.Errorf("step at %d: %w", position, err))
	}
}
