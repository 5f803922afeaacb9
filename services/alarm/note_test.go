package alarm_test

import (
	"errors"
	"fmt"
	"testing"

	"hawser/detect"
	"hawser/services/alarm"
	"hawser/services/alarm/alarmtest"
)

// Notes stand with their alarm, the newest twenty, and change no state; another
// opening of the log has the same.
func TestNotes(t *testing.T) {
	records := &alarmtest.Records{}
	l, _ := timed(t, records)
	must(t, l.Apply(t.Context(), "east-3", 1, raised(detect.OverLimit, "4", 0)))
	const id = "east-3/over-limit/4/2026-03-01T04:05:06.700Z"
	for i := range 25 {
		_, err := l.WriteNote(t.Context(), id, mate, fmt.Sprintf(" note %d ", i))
		must(t, err)
	}
	for name, want := range map[string]error{"nothing": alarm.ErrNoText, "nobody": alarm.ErrNoName, "no alarm": alarm.ErrUnknown} {
		on, by, text := id, mate, "n"
		switch name {
		case "nothing":
			text = "  "
		case "nobody":
			by = alarm.Person{}
		case "no alarm":
			on = "east-3/x"
		}
		if _, err := l.WriteNote(t.Context(), on, by, text); !errors.Is(err, want) {
			t.Errorf("%s: %v, want %v", name, err, want)
		}
	}
	must(t, l.Close())
	again, _ := timed(t, records)
	s, ok := again.Find(id)
	if !ok || s.Lifecycle() != alarm.ActiveUnacknowledged || len(s.Notes) != 20 || s.Notes[0].Text != "note 5" || s.Notes[19].Text != "note 24" || s.Notes[19].Person != mate {
		t.Errorf("after opening again: %+v", s)
	}
}
