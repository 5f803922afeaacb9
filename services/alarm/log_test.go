package alarm_test

import (
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/services/alarm"
	"hawser/services/alarm/alarmtest"
)

func TestRaiseAcknowledgeClearSurviveRestart(t *testing.T) {
	everyRecords(t, func(t *testing.T, r alarm.Records) {
		l := openOn(t, r)
		must(t, l.Apply(t.Context(), "east-3", 7, raised(detect.LineParted, "4", 0)))
		const id = "east-3/line-parted/4/2026-03-01T04:05:06.700Z" // berth, condition, line, time of the raise
		if got := ids(l, "", false); !slices.Equal(got, []string{id}) {
			t.Fatalf("active: %q, want %q", got, id)
		}
		after, err := l.Acknowledge(t.Context(), id, alarm.Person{By: " Second officer "}, "crew called")
		must(t, err)
		if first := after.Acknowledged(); first == nil || first.By != "Second officer" || first.Note != "crew called" || first.At.IsZero() || !after.Active() {
			t.Fatalf("after acknowledgement: %+v", after)
		}
		must(t, l.Apply(t.Context(), "east-3", 9, cleared(detect.LineParted, "4", 60)))

		live, position := l.List("", true)
		if len(live) != 1 || live[0].Active() || !live[0].Cleared.Equal(second(60)) || !live[0].Raised.Equal(second(0)) {
			t.Fatalf("after clear: %+v", live)
		}
		if got := ids(l, "", false); len(got) != 0 {
			t.Fatalf("active after clear: %q", got)
		}
		must(t, l.Close())
		again, at := openOn(t, r).List("", true)
		if !reflect.DeepEqual(again, live) || at != position {
			t.Fatalf("after restart at %d: %+v\nbefore at %d: %+v", at, again, position, live)
		}
	})
}

func TestNothingIsAppliedTwice(t *testing.T) {
	everyRecords(t, func(t *testing.T, r alarm.Records) {
		o := options(r)
		registry := o.Registerer.(*prometheus.Registry)
		l := open(t, o)
		apply := func(position uint64, changes ...detect.Change) {
			t.Helper()
			must(t, l.Apply(t.Context(), "east-3", position, changes))
		}
		raise4, clear4 := change(detect.OverLimit, "4", true, 0), change(detect.OverLimit, "4", false, 30)
		apply(10, raise4)
		apply(10, raise4)                                   // repeated
		apply(11, raise4)                                   // active already
		apply(12, change(detect.OverLimit, "5", false, 10)) // was not active
		apply(13, clear4)
		apply(10, raise4) // repeated, though not active now
		apply(13, clear4) // repeated
		if n := len(collect(t, l)); n != 2 {
			t.Errorf("%d records, want the raise and the clear", n)
		}
		want := `
# HELP hawser_alarm_ignored_changes_total Changes that changed no alarm, by reason.
# TYPE hawser_alarm_ignored_changes_total counter
hawser_alarm_ignored_changes_total{reason="already-active"} 1
hawser_alarm_ignored_changes_total{reason="not-active"} 1
hawser_alarm_ignored_changes_total{reason="repeated"} 3
`
		if err := testutil.GatherAndCompare(registry, strings.NewReader(want), "hawser_alarm_ignored_changes_total"); err != nil {
			t.Error(err)
		}
		if got := l.Applied("east-3"); got != 13 {
			t.Errorf("applied up to %d, want 13", got)
		}
	})
}

// A line is in one group, whatever a change says of it; where only the group is
// known, groups are told apart.
func TestWhatTellsAlarmsApart(t *testing.T) {
	l := openOn(t, &alarmtest.Records{})
	group := func(g mooring.Group, raised bool) detect.Change {
		return detect.Change{Time: second(0).UnixNano(), Condition: detect.Redistribution, Group: g, Raised: raised}
	}
	lineOnly := change(detect.BrakeSlip, "4", false, 9)
	lineOnly.Group = 0
	must(t, l.Apply(t.Context(), "east-3", 1, []detect.Change{
		group(mooring.Head, true), group(mooring.Stern, true), change(detect.BrakeSlip, "4", true, 1), lineOnly,
		group(mooring.Head, false),
	}))
	want := []string{"east-3/redistribution/stern/2026-03-01T04:05:06.700Z"}
	if got := ids(l, "", false); !slices.Equal(got, want) {
		t.Errorf("active: %q, want %q", got, want)
	}
}

func TestWorstFirst(t *testing.T) {
	l := openOn(t, &alarmtest.Records{})
	must(t, l.Apply(t.Context(), "east-3", 1, []detect.Change{
		change(detect.SensorFault, "1", true, 0),
		change(detect.SnapLoad, "2", true, 1),
		change(detect.OverLimit, "3", true, 2),
		change(detect.OverLimit, "4", true, 3),
		change(detect.OverLimit, "5", true, 4),
		change(detect.Imbalance, "6", true, 5),
	}))
	must(t, l.Apply(t.Context(), "west-1", 2, raised(detect.LineParted, "7", -900)))
	must(t, l.RaiseOwn(t.Context(), alarm.Own{Condition: "journal-pressure", Priority: detect.Warning}))
	_, err := l.Acknowledge(t.Context(), "east-3/over-limit/5/2026-03-01T04:05:10.700Z", alarm.Person{By: "mate"}, "")
	must(t, err)
	// Emergency, alarm, warning, caution: IMO A.1021(26) cl. 3.1, highest first.
	want := []string{
		"west-1/line-parted/7", "east-3/over-limit/4", "east-3/over-limit/3", "east-3/snap-load/2", "east-3/over-limit/5",
		"east-3/imbalance/6", "server/journal-pressure/-", "east-3/sensor-fault/1",
	}
	got := ids(l, "", false)
	for i := range got {
		got[i] = got[i][:strings.LastIndex(got[i], "/")]
	}
	if !slices.Equal(got, want) {
		t.Errorf("order:\n%q, want\n%q", got, want)
	}
	if got := ids(l, "west-1", true); len(got) != 1 {
		t.Errorf("alarms of one berth: %q", got)
	}
}

func TestSecondPersonLearnsWhoWasFirst(t *testing.T) {
	l := openOn(t, &alarmtest.Records{})
	must(t, l.Apply(t.Context(), "east-3", 1, raised(detect.OverLimit, "4", 0)))
	id := ids(l, "", false)[0]
	_, err := l.Acknowledge(t.Context(), id, alarm.Person{By: "bosun"}, "on my way")
	must(t, err)
	_, err = l.Acknowledge(t.Context(), id, alarm.Person{By: "mate"}, "")
	var taken *alarm.TakenError
	if !errors.As(err, &taken) || taken.By != "bosun" || taken.At.IsZero() {
		t.Errorf("second acknowledgement: %v", err)
	}
	if _, err := l.Acknowledge(t.Context(), "east-3/over-limit/9/never", alarm.Person{By: "mate"}, ""); !errors.Is(err, alarm.ErrUnknown) {
		t.Errorf("unknown alarm: %v", err)
	}
	if _, err := l.Acknowledge(t.Context(), id, alarm.Person{By: " \t"}, ""); !errors.Is(err, alarm.ErrNoName) {
		t.Errorf("nobody: %v", err)
	}
	alarms, _ := l.List("", false)
	if first := alarms[0].Acknowledged(); first.By != "bosun" || first.Note != "on my way" {
		t.Errorf("acknowledged: %+v", first)
	}
}

func TestClearedAlarmsAreBoundedInMemoryOnly(t *testing.T) {
	o := options(&alarmtest.Records{})
	o.KeepCleared = 3
	l := open(t, o)
	for i := range 10 {
		must(t, l.Apply(t.Context(), "east-3", uint64(i+1), []detect.Change{
			change(detect.SnapLoad, "4", true, 2*i), change(detect.SnapLoad, "4", false, 2*i+1)}))
	}
	want := []string{ // newest first
		"east-3/snap-load/4/2026-03-01T04:05:24.700Z", "east-3/snap-load/4/2026-03-01T04:05:22.700Z", "east-3/snap-load/4/2026-03-01T04:05:20.700Z",
	}
	if got := ids(l, "", true); !slices.Equal(got, want) {
		t.Errorf("in memory: %q, want %q", got, want)
	}
	if n := len(collect(t, l)); n != 20 {
		t.Errorf("%d records in the log, want 20", n)
	}
	if _, err := l.Acknowledge(t.Context(), "east-3/snap-load/4/2026-03-01T04:05:06.700Z", alarm.Person{By: "mate"}, ""); !errors.Is(err, alarm.ErrUnknown) {
		t.Errorf("acknowledging what was forgotten: %v", err)
	}
}

func TestOwnConditions(t *testing.T) {
	l := openOn(t, &alarmtest.Records{})
	full := alarm.Own{Condition: "journal-pressure", Priority: detect.Warning, Detail: "The journal is 90 % full: free disk space.",
		Measure: alarm.Measure{Value: 90, HasValue: true, Unit: "%"}}
	must(t, l.RaiseOwn(t.Context(), full))
	must(t, l.RaiseOwn(t.Context(), full))
	alarms, _ := l.List("", false)
	if len(alarms) != 1 || alarms[0].ID != "server/journal-pressure/-/2026-03-01T05:00:00.000Z" || alarms[0].Value != 90 {
		t.Fatalf("raised: %+v", alarms)
	}
	must(t, l.ClearOwn(t.Context(), "", "journal-pressure"))
	must(t, l.ClearOwn(t.Context(), "", "journal-pressure"))
	if n := len(collect(t, l)); n != 2 {
		t.Errorf("%d records, want 2", n)
	}
	if err := l.RaiseOwn(t.Context(), alarm.Own{Condition: "line-parted", Priority: detect.Emergency}); err == nil {
		t.Error("a detector's condition was taken as the server's own")
	}
	must(t, l.Apply(t.Context(), "east-3", 1, raised(detect.OverLimit, "4", 0)))
	must(t, l.ClearOwn(t.Context(), "east-3", "over-limit"))
	if len(ids(l, "east-3", false)) != 1 {
		t.Error("a detector's alarm was cleared as the server's own")
	}
}

func TestActiveMetric(t *testing.T) {
	o := options(&alarmtest.Records{})
	registry := o.Registerer.(*prometheus.Registry)
	l := open(t, o)
	must(t, l.Apply(t.Context(), "east-3", 1, []detect.Change{
		change(detect.OverLimit, "4", true, 0), change(detect.OverLimit, "5", true, 0), change(detect.LineParted, "6", true, 0)}))
	must(t, l.Apply(t.Context(), "east-3", 2, cleared(detect.LineParted, "6", 9)))
	want := `
# HELP hawser_alarm_active Alarms raised and not cleared, less those suppressed by design.
# TYPE hawser_alarm_active gauge
hawser_alarm_active{berth="east-3",condition="over-limit",priority="alarm"} 2
# HELP hawser_alarm_raised_total Alarms raised.
# TYPE hawser_alarm_raised_total counter
hawser_alarm_raised_total{condition="line-parted"} 1
hawser_alarm_raised_total{condition="over-limit"} 2
`
	if err := testutil.GatherAndCompare(registry, strings.NewReader(want), "hawser_alarm_active", "hawser_alarm_raised_total"); err != nil {
		t.Error(err)
	}
	if problems, err := testutil.GatherAndLint(registry); err != nil || len(problems) > 0 {
		t.Errorf("lint: %v %v", problems, err)
	}
	must(t, l.Close())
	if n, err := testutil.GatherAndCount(registry); err != nil || n != 0 {
		t.Errorf("%d series after close, %v", n, err)
	}
}

func TestOptionsAreChecked(t *testing.T) {
	o := options(nil)
	if _, err := alarm.Open(t.Context(), o); err == nil || err.Error() != "alarm: Records, Logger and Registerer are required" {
		t.Errorf("without records: %v", err)
	}
	o = options(&alarmtest.Records{})
	o.KeepCleared = -1
	if _, err := alarm.Open(t.Context(), o); err == nil {
		t.Error("a negative bound was taken")
	}
}

func TestClosedLogTakesNothing(t *testing.T) {
	l := openOn(t, &alarmtest.Records{})
	must(t, l.Close())
	must(t, l.Close())
	if err := l.Apply(t.Context(), "east-3", 1, raised(detect.OverLimit, "4", 0)); !errors.Is(err, alarm.ErrClosed) {
		t.Errorf("apply: %v", err)
	}
	if err := l.Watch(t.Context(), "", 0, nil); !errors.Is(err, alarm.ErrClosed) {
		t.Errorf("watch: %v", err)
	}
}
