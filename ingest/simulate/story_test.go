package simulate_test

import (
	"strings"
	"testing"
	"time"

	"hawser/ingest/simulate"
)

func TestStoriesRefused(t *testing.T) {
	p := plan(t, "tanker-12")
	for name, c := range map[string]struct {
		spoil func(*simulate.Story)
		want  string
	}{
		"no start":      {func(s *simulate.Story) { s.Start = time.Time{} }, "start: a time is needed"},
		"odd window":    {func(s *simulate.Story) { s.Window = 30 * time.Millisecond }, "window 30ms"},
		"endless loop":  {func(s *simulate.Story) { s.Loop = true }, "length 0s"},
		"two ends":      {func(s *simulate.Story) { s.Loop, s.Ends, s.Length = true, true, time.Hour }, "not both"},
		"wind":          {func(s *simulate.Story) { s.Weather.WindMS = -1 }, "wind -1: 0 to 60 is needed"},
		"tension step":  {func(s *simulate.Story) { s.Sensors.TensionStepKN = 0.25 }, "tension step 0.25 kN"},
		"gale":          {func(s *simulate.Story) { s.Weather.WindMS, s.Weather.WindFromDeg = 60, 48 }, ""},
		"no such line":  {event(simulate.Event{Kind: simulate.Part, Line: "99"}), `event 0 (part at 0s): line "99" is not in the plan`},
		"no such kind":  {event(simulate.Event{Kind: 99}), "kind 99"},
		"no duration":   {event(simulate.Event{Kind: simulate.Gap, Line: "1"}), "for how long?"},
		"before it all": {event(simulate.Event{Kind: simulate.Part, Line: "1", At: -1}), "time is negative"},
		"brake upside down": {event(simulate.Event{Kind: simulate.WeakBrake, Line: "1", Value: 100, HoldKN: 120}),
			"holds again under the 100 kN"},
	} {
		t.Run(name, func(t *testing.T) {
			story := still()
			c.spoil(&story)
			_, err := simulate.New(p, story)
			switch {
			case c.want == "" && err != nil:
				t.Errorf("refused: %v", err)
			case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want) ||
				!strings.HasPrefix(err.Error(), "story of berth north-jetty-1: ")):
				t.Errorf("got %v, want %q with its berth", err, c.want)
			}
		})
	}
}

func event(e simulate.Event) func(*simulate.Story) {
	return func(s *simulate.Story) { s.Events = append(s.Events, e) }
}
