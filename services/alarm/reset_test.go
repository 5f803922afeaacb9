package alarm_test

import (
	"errors"
	"slices"
	"testing"

	"hawser/detect"
	"hawser/services/alarm"
	"hawser/services/alarm/alarmtest"
)

// A parting ends on a person's word, with name and reason, and is acknowledged by it
// (a latching alarm and its reset are ISA-18.2's, from memory); detectors that hold on
// to it do not raise it again, a second one they do.
func TestReset(t *testing.T) {
	records := &alarmtest.Records{}
	l, _ := timed(t, records)
	parting := change(detect.LineParted, "4", true, 0)
	must(t, l.Apply(t.Context(), "east-3", 1, []detect.Change{parting, change(detect.OverLimit, "5", true, 0)}))
	const id, over = "east-3/line-parted/4/2026-03-01T04:05:06.700Z", "east-3/over-limit/5/2026-03-01T04:05:06.700Z"
	for _, c := range []struct {
		name, id string
		by       alarm.Person
		reason   string
		want     error
	}{
		{"no name", id, alarm.Person{}, "renewed", alarm.ErrNoName},
		{"no reason", id, mate, " ", alarm.ErrNoReason},
		{"not a parting", over, mate, "eased", alarm.ErrNotLatching},
		{"no alarm", "east-3/x", mate, "renewed", alarm.ErrUnknown},
		{"done", id, mate, " renewed ", nil},
		{"a second time", id, foreman, "renewed", alarm.ErrUnknown},
	} {
		if _, err := l.Reset(t.Context(), c.id, c.by, c.reason); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, err, c.want)
		}
	}
	must(t, l.Close())
	again, _ := timed(t, records)
	s, ok := again.Find(id)
	if !ok || s.Lifecycle() != alarm.Normal || s.Acknowledged() == nil || s.Acknowledged().Person != mate || len(s.Notes) != 1 || s.Notes[0].Text != "renewed" {
		t.Fatalf("after the reset: %+v", s)
	}
	must(t, again.Reconcile(t.Context(), "east-3", 2, []detect.Change{parting}, nil, "not found"))
	if got := ids(again, "", false); len(got) != 0 {
		t.Errorf("raised again: %q", got)
	}
	must(t, again.Apply(t.Context(), "east-3", 3, []detect.Change{change(detect.LineParted, "4", true, 60)}))
	if got := ids(again, "", false); !slices.Equal(got, []string{"east-3/line-parted/4/2026-03-01T04:06:06.700Z"}) {
		t.Errorf("parted again: %q", got)
	}
}
