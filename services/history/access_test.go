package history_test

import (
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"hawser/services/history"
)

// sight sees berth east-3 since a time, and nothing else.
type sight struct{ since time.Time }

func (s sight) Sees(_ context.Context, berth string) (time.Time, bool) {
	return s.since, berth == "east-3"
}

// What was before the caller's time is not told, not even as part of a step's
// mean: with steps of 10 min counted from the hour, someone who came at 04:12 is
// told from 04:20.
func TestHistoryBeginsWithTheCallersTime(t *testing.T) {
	at := func(hhmmss string) time.Time {
		when, err := time.Parse(time.RFC3339, "2026-03-01T"+hhmmss+"Z")
		if err != nil {
			t.Fatal(err)
		}
		return when
	}
	const question = "berth=east-3&channel=7/tension&to=2026-03-01T05:00:00Z&from=2026-03-01T"
	for name, c := range map[string]struct {
		query string
		since time.Time
		from  time.Time // asked of the store; zero for nothing
	}{
		"always":                      {question + "04:00:00Z", time.Time{}, at("04:00:00")},
		"from before":                 {question + "04:00:00Z", at("04:12:00"), at("04:12:00")},
		"from after":                  {question + "04:30:00Z", at("04:12:00"), at("04:30:00")},
		"steps, from before":          {question + "04:00:00Z&step=10m", at("04:12:00"), at("04:20:00")},
		"steps, from in the same one": {question + "04:13:00Z&step=10m", at("04:12:00"), at("04:20:00")},
		"steps, from after":           {question + "04:31:00Z&step=10m", at("04:12:00"), at("04:31:00")},
		"steps, on the step":          {question + "04:00:00Z&step=10m", at("04:10:00"), at("04:10:00")},
		"all before":                  {question + "04:00:00Z", at("05:00:00"), time.Time{}},
		"points, from before":         {question + "04:00:00Z&points=9", at("04:12:00"), at("04:20:00")},
		"no whole step":               {question + "04:00:00Z&step=1h", at("04:12:00"), time.Time{}},
	} {
		s := &answers{}
		w := httptest.NewRecorder()
		r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/api/history?"+c.query, nil)
		history.Handler(s, sight{c.since}, slog.New(slog.DiscardHandler)).ServeHTTP(w, r)
		if w.Code != http.StatusOK || w.Body.String() != "[]" {
			t.Errorf("%s: %d %s", name, w.Code, w.Body)
		}
		switch {
		case c.from.IsZero() && len(s.asked) > 0:
			t.Errorf("%s: the store was asked: %+v", name, s.asked)
		case !c.from.IsZero() && (len(s.asked) != 1 || !s.asked[0].From.Equal(c.from) || !s.asked[0].To.Equal(at("05:00:00"))):
			t.Errorf("%s: asked %+v, want from %v", name, s.asked, c.from)
		}
	}

	s := &answers{}
	w := httptest.NewRecorder()
	r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/api/history?berth=west-1&channel=7/tension&from=2026-03-01T04:00:00Z&to=2026-03-01T05:00:00Z", nil)
	history.Handler(s, sight{}, slog.New(slog.DiscardHandler)).ServeHTTP(w, r)
	if w.Code != http.StatusForbidden || len(s.asked) > 0 {
		t.Errorf("another berth: %d %s, the store was asked %d times", w.Code, w.Body, len(s.asked))
	}
}
