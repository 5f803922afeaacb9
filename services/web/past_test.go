package web_test

import (
	"encoding/json"
	"net/http"
	"slices"
	"testing"
	"time"

	"hawser/detect"
	"hawser/detect/mooring"
)

// The alarms of a time are those that were active in it, whether or not they are over.
func TestPastAlarms(t *testing.T) {
	s := newStation(t, nil)
	s.raise("east-3", 1, detect.SlackLine, "1", "Line 1 is slack.") // 05:00
	s.clock.Move(10 * time.Minute)
	must(t, s.alarms.Apply(t.Context(), "east-3", 2, []detect.Change{{Time: s.clock.Now().UnixNano(), Condition: detect.SlackLine, Line: "1", Group: mooring.Head}}))
	s.raise("east-3", 3, detect.OverLimit, "1", "Line 1 over.") // 05:10, and on
	s.raise("west-1", 1, detect.OverLimit, "2", "Line 2 over.") // another berth's
	for name, row := range map[string]struct {
		from, to string
		want     []string
	}{
		"before":     {"04:00", "04:59", nil},
		"the first":  {"05:02", "05:05", []string{"slack-line"}},
		"both":       {"05:02", "05:30", []string{"slack-line", "over-limit"}},
		"the second": {"05:20", "05:30", []string{"over-limit"}},
	} {
		resp, body := s.get("/api/alarms?berth=east-3&from=2026-03-01T" + row.from + ":00Z&to=2026-03-01T" + row.to + ":00Z")
		var got struct {
			List []struct{ Condition, Line string }
		}
		must(t, json.Unmarshal([]byte(body), &got))
		var conditions []string
		for _, a := range got.List {
			conditions = append(conditions, a.Condition)
		}
		if resp.StatusCode != http.StatusOK || !slices.Equal(conditions, row.want) {
			t.Errorf("%s: %d %v, want %v", name, resp.StatusCode, conditions, row.want)
		}
	}
	if resp, body := s.get("/api/alarms?berth=east-3&from=yesterday&to=2026-03-01T05:00:00Z"); resp.StatusCode != http.StatusBadRequest || body != "from: \"yesterday\" is no RFC 3339 time\n" {
		t.Errorf("senseless: %d %q", resp.StatusCode, body)
	}
}
