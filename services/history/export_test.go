package history_test

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/services/history"
)

func exported(t *testing.T, s history.Store, access history.Access, query string) *httptest.ResponseRecorder {
	t.Helper()
	w := httptest.NewRecorder()
	r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/api/export?"+query, nil)
	plans := func(context.Context, string) (string, string) { return "berth: east-3\n", "f" }
	history.ExportHandler(s, access, plans, slog.New(slog.DiscardHandler)).ServeHTTP(w, r)
	return w
}

const span = "berth=east-3&from=2026-03-01T04:00:00Z&to=2026-03-01T04:05:00Z"

func TestExportIsAnswered(t *testing.T) {
	at := time.Date(2026, 3, 1, 4, 0, 0, 0, time.UTC)
	s := &answers{results: []store.Result{{Channel: reading.Channel{Line: "7", Kind: reading.Tension}, Time: []int64{at.UnixNano()}, Value: []float64{203.4}}}}
	w := exported(t, s, nil, span+"&format=csv")
	if want := "time,berth,channel,unit,value\n2026-03-01T04:00:00Z,east-3,7/tension,kN,203.4\n"; w.Code != http.StatusOK || w.Body.String() != want {
		t.Errorf("%d %q", w.Code, w.Body)
	}
	if h := w.Header(); h.Get("Content-Type") != "text/csv; charset=utf-8" || h.Get("Content-Disposition") != `attachment; filename="east-3-20260301T040000Z.csv"` {
		t.Errorf("headers %v", h)
	}
	if len(s.asked) != 1 || s.asked[0].Channel != (reading.Channel{}) {
		t.Errorf("asked %+v, want all channels at once", s.asked)
	}
	// A span is taken to whole steps.
	s.results = nil
	exported(t, s, nil, "berth=east-3&from=2026-03-01T04:00:03Z&to=2026-03-01T04:00:41Z&step=10s&format=arrow")
	if q := s.asked[1]; !q.From.Equal(at) || !q.To.Equal(at.Add(50*time.Second)) {
		t.Errorf("asked from %s to %s", q.From, q.To)
	}
}

func TestExportMistakes(t *testing.T) {
	for query, want := range map[string]string{
		span:                      "format: must be given",
		span + "&format=xlsx":     `format: "xlsx" is none of parquet, csv, arrow`,
		span + "&format=csv&x=1":  "x: no such parameter; there are berth, channel, from, to, step and format",
		"berth=east-3&format=csv": "from: must be given",
		"berth=east-3&from=2026-03-01T05:00:00Z&to=2026-03-01T04:00:00Z&format=csv": "to 2026-03-01T04:00:00Z is not after from",
		span + "&format=csv&channel=7/lod":                                          "channel: ",
	} {
		w := exported(t, &answers{}, nil, query)
		if w.Code != http.StatusBadRequest || !strings.Contains(w.Body.String(), want) {
			t.Errorf("%s: %d %q, want %q", query, w.Code, w.Body, want)
		}
	}
}

// Nothing is no file: a berth's name that is mistyped is told.
func TestExportOfNothing(t *testing.T) {
	for query, want := range map[string]string{
		span + "&format=parquet":             "berth east-3: no readings from 2026-03-01T04:00:00Z to 2026-03-01T04:05:00Z\n",
		span + "&format=csv&step=":           "berth east-3: no readings from 2026-03-01T04:00:00Z to 2026-03-01T04:05:00Z\n",
		span + "&format=csv&channel=9/brake": "berth east-3, channel 9/brake: no readings from 2026-03-01T04:00:00Z to 2026-03-01T04:05:00Z\n",
	} {
		w := exported(t, &answers{}, nil, query)
		if w.Code != http.StatusNotFound || w.Body.String() != want || w.Header().Get("Content-Disposition") != "" {
			t.Errorf("%s: %d %q %v", query, w.Code, w.Body, w.Header())
		}
	}
}

// failing is a store that answers so many times.
type failing struct {
	answers
	times int
}

func (f *failing) Query(ctx context.Context, q store.Query) ([]store.Result, error) {
	results, err := f.answers.Query(ctx, q)
	if len(f.asked) > f.times {
		return nil, errors.New("down")
	}
	return results, err
}

// A store that is down is told. An answer that cannot be ended is cut off, so that
// nobody takes it for whole.
func TestExportOfAStoreThatFails(t *testing.T) {
	const hours = "berth=east-3&from=2026-03-01T04:00:00Z&to=2026-03-01T07:00:00Z&format=csv"
	if w := exported(t, &failing{}, nil, hours); w.Code != http.StatusServiceUnavailable || w.Header().Get("Content-Disposition") != "" {
		t.Errorf("at once: %d %q %v", w.Code, w.Body, w.Header())
	}
	reading := store.Result{Channel: reading.Channel{Line: "7", Kind: reading.Tension}, Time: []int64{1}, Value: []float64{203.4}}
	server := httptest.NewServer(history.ExportHandler(&failing{answers: answers{results: []store.Result{reading}}, times: 1}, nil,
		func(context.Context, string) (string, string) { return "", "" }, slog.New(slog.DiscardHandler)))
	defer server.Close()
	res, err := server.Client().Get(server.URL + "/api/export?" + hours)
	if err == nil {
		res.Body.Close()
		t.Errorf("under way: answered %s", res.Status)
	}
}

// What was before the caller's time is not exported, nor another's berth.
func TestExportBeginsWithTheCallersTime(t *testing.T) {
	since := time.Date(2026, 3, 1, 4, 2, 3, 0, time.UTC)
	s := &answers{}
	if w := exported(t, s, sight{since}, span+"&format=csv&step=10s"); w.Code != http.StatusNotFound {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	if want := since.Add(7 * time.Second); len(s.asked) != 1 || !s.asked[0].From.Equal(want) {
		t.Errorf("asked %+v, want from %s", s.asked, want)
	}
	s = &answers{}
	if w := exported(t, s, sight{since.Add(time.Hour)}, span+"&format=csv"); w.Code != http.StatusNotFound || len(s.asked) > 0 {
		t.Errorf("all before: %d %q, asked %+v", w.Code, w.Body, s.asked)
	}
	if w := exported(t, s, sight{}, strings.Replace(span, "east-3", "west-1", 1)+"&format=csv"); w.Code != http.StatusForbidden {
		t.Errorf("another's berth: %d", w.Code)
	}
}
