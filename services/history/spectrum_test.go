package history_test

import (
	"encoding/json"
	"errors"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/services/history"
)

func askSpectrum(t *testing.T, s history.Store, access history.Access, query string) *httptest.ResponseRecorder {
	t.Helper()
	w := httptest.NewRecorder()
	history.Spectrum(s, access, slog.New(slog.DiscardHandler)).ServeHTTP(w, httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/api/spectrum?"+query, nil))
	return w
}

// swell is an hour of a load that swings by 20 kN every 14 s, variance 200 kN²,
// without the steps that missing names.
func swell(missing func(second int) bool) []store.Result {
	r := store.Result{Channel: reading.Channel{Line: "7", Kind: reading.Tension}}
	four := time.Date(2026, 3, 1, 4, 0, 0, 0, time.UTC)
	for i := range 3600 {
		if missing(i) {
			continue
		}
		r.Time = append(r.Time, four.Add(time.Duration(i)*time.Second).UnixNano())
		r.Value = append(r.Value, 300+20*math.Sin(2*math.Pi*float64(i)/14))
	}
	return []store.Result{r}
}

func TestSpectrumFindsTheSwell(t *testing.T) {
	for name, row := range map[string]struct {
		missing  func(int) bool
		segments int // of 512 s that overlap by half: by hand
	}{
		"whole":       {func(int) bool { return false }, 13},
		"short gaps":  {func(i int) bool { return i%97 >= 94 }, 13},
		"a long gap":  {func(i int) bool { return i >= 1000 && i < 1100 }, 2 + 8},
		"gaps, ever":  {func(i int) bool { return i%300 > 290 }, 0},
		"nothing":     {func(int) bool { return true }, 0},
		"few minutes": {func(i int) bool { return i >= 60 }, 0},
	} {
		s := &answers{results: swell(row.missing)}
		w := askSpectrum(t, s, nil, good)
		var got struct {
			Channel, Unit string
			SegmentS      float64 `json:"segment_s"`
			Segments      int
			Hz, Density   []float64
			Peaks         []struct{ Seconds, Share float64 }
		}
		if err := json.Unmarshal(w.Body.Bytes(), &got); err != nil || w.Code != http.StatusOK || got.Channel != "7/tension" || got.Unit != "kN" {
			t.Fatalf("%s: %d %s", name, w.Code, w.Body)
		}
		if q := s.asked[0]; q.Step != time.Second {
			t.Errorf("%s: asked for steps of %s", name, q.Step)
		}
		if got.Segments != row.segments || len(got.Hz) != len(got.Density) || (len(got.Peaks) > 0) != (row.segments > 0) {
			t.Errorf("%s: %d segments, want %d; %d peaks", name, got.Segments, row.segments, len(got.Peaks))
			continue
		}
		if row.segments == 0 {
			continue
		}
		variance := 0.0
		for _, d := range got.Density {
			variance += d * got.Hz[0]
		}
		if p := got.Peaks[0]; math.Abs(p.Seconds-14) > 0.3 || math.Abs(variance-200) > 4 || got.SegmentS != 512 {
			t.Errorf("%s: every %.2f s, variance %.1f kN², segments of %g s", name, p.Seconds, variance, got.SegmentS)
		}
	}
}

func TestSpectrumRefuses(t *testing.T) {
	for query, says := range map[string]string{
		good + "&step=1s":  "a spectrum has its own",
		good + "&points=9": "a spectrum has its own",
		"berth=a&channel=b/x&from=2026-03-01T04:00:00Z&to=2026-03-01T05:00:00Z": "unknown channel",
		strings.Replace(good, "7/tension", "tension", 1):                        "of one line",
		strings.Replace(good, "2026-03-01T05", "2026-03-09T05", 1):              "over 48h0m0s after from",
	} {
		w := askSpectrum(t, &answers{}, nil, query)
		if w.Code != http.StatusBadRequest || !strings.Contains(w.Body.String(), says) {
			t.Errorf("%s: %d %s", query, w.Code, w.Body)
		}
	}
	if w := askSpectrum(t, &answers{err: errors.New("down")}, nil, good); w.Code != http.StatusServiceUnavailable {
		t.Errorf("store down: %d", w.Code)
	}
}

// A spectrum, too, begins with the caller's time.
func TestSpectrumBeginsWithTheCallersTime(t *testing.T) {
	came := time.Date(2026, 3, 1, 4, 30, 0, 500, time.UTC)
	s := &answers{results: swell(func(int) bool { return false })}
	if w := askSpectrum(t, s, sight{came}, good); w.Code != http.StatusOK || !s.asked[0].From.Equal(time.Date(2026, 3, 1, 4, 30, 1, 0, time.UTC)) {
		t.Errorf("%d, asked from %v", w.Code, s.asked)
	}
	if w := askSpectrum(t, &answers{}, sight{came}, strings.Replace(good, "east-3", "west-1", 1)); w.Code != http.StatusForbidden {
		t.Errorf("another's berth: %d", w.Code)
	}
}
