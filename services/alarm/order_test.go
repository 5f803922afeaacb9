package alarm_test

import (
	"slices"
	"testing"
	"time"

	"hawser/detect"
	"hawser/services/alarm"
	"hawser/services/alarm/alarmtest"
)

// Alarms of one instant are listed in one order, whoever lists them and however they
// came and went: those that stand, a past, and a recording that was replayed.
func TestOneOrderOfAlarms(t *testing.T) {
	// Within an instant by IMO A.1021(26) cl. 3.1, then as conditions are urgent, then
	// by number of the line.
	want := []string{
		"approaching-limit 9 -1s",
		"line-parted 3 0s",
		"over-limit 2 0s", "over-limit 10 0s", "over-limit 11 0s", "brake-slip 4 0s", "brake-slip 12 0s",
		"slack-line 2 0s", "sensor-fault 1 0s",
		"line-parted 8 1s",
	}
	raise := []detect.Change{
		change(detect.SensorFault, "1", true, 0), change(detect.OverLimit, "11", true, 0), change(detect.BrakeSlip, "12", true, 0),
		change(detect.LineParted, "8", true, 1), change(detect.OverLimit, "10", true, 0), change(detect.SlackLine, "2", true, 0),
		change(detect.ApproachingLimit, "9", true, -1), change(detect.LineParted, "3", true, 0), change(detect.BrakeSlip, "4", true, 0),
		change(detect.OverLimit, "2", true, 0),
	}
	clear := []detect.Change{
		change(detect.OverLimit, "10", false, 20), change(detect.SensorFault, "1", false, 20), change(detect.BrakeSlip, "4", false, 30),
	}
	var forth, back alarm.Replayed
	l := openOn(t, &alarmtest.Records{})
	for i, c := range slices.Concat(raise, clear) {
		forth.Add("east-3", &c)
		must(t, l.Apply(t.Context(), "east-3", uint64(i+1), []detect.Change{c}))
	}
	slices.Reverse(raise)
	for _, c := range slices.Concat(raise, clear) {
		back.Add("east-3", &c)
	}
	past, err := l.Past(t.Context(), "east-3", second(-60), second(60))
	must(t, err)
	told, _ := l.List("", true)
	alarm.OldestFirst(told)
	for name, got := range map[string][]alarm.State{"past": past, "replayed": forth.States(), "replayed otherwise": back.States(), "listed": told} {
		if got := named(got); !slices.Equal(got, want) {
			t.Errorf("%s:\n%q, want\n%q", name, got, want)
		}
	}

	// Newest first turns the instants about and not what is in them.
	alarm.NewestFirst(told)
	want = slices.Concat(want[9:], want[1:9], want[:1])
	if got := named(told); !slices.Equal(got, want) {
		t.Errorf("newest first:\n%q, want\n%q", got, want)
	}

	// What stands is worst first, and of one condition and instant in the same order.
	standing, _ := l.List("", false)
	want = []string{"line-parted 8 1s", "line-parted 3 0s", "over-limit 2 0s", "over-limit 11 0s", "brake-slip 12 0s", "approaching-limit 9 -1s", "slack-line 2 0s"}
	if got := named(standing); !slices.Equal(got, want) {
		t.Errorf("standing:\n%q, want\n%q", got, want)
	}
}

func named(all []alarm.State) (names []string) {
	for _, s := range all {
		names = append(names, s.Condition+" "+s.Line+" "+s.Raised.Sub(second(0)).Round(time.Second).String())
	}
	return names
}
