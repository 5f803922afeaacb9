package history_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"reflect"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/services/history"
	"hawser/services/waittest"
)

// answers is a store that checks a query as every store does, then answers.
type answers struct {
	asked   []store.Query
	results []store.Result
	err     error
}

func (a *answers) Query(_ context.Context, q store.Query) ([]store.Result, error) {
	a.asked = append(a.asked, q)
	if _, _, _, err := q.Normalise(); err != nil {
		return nil, err
	}
	return a.results, a.err
}

const good = "berth=east-3&channel=7/tension&from=2026-03-01T04:00:00Z&to=2026-03-01T05:00:00Z"

func get(t *testing.T, s history.Store, query string) *httptest.ResponseRecorder {
	t.Helper()
	w := httptest.NewRecorder()
	r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/api/history?"+query, nil)
	history.Handler(s, nil, slog.New(slog.DiscardHandler)).ServeHTTP(w, r)
	return w
}

func TestQueryIsUnderstood(t *testing.T) {
	four := time.Date(2026, 3, 1, 4, 0, 0, 0, time.UTC)
	for query, want := range map[string]store.Query{
		good: {Berth: "east-3", Channel: reading.Channel{Line: "7", Kind: reading.Tension}, From: four, To: four.Add(time.Hour)},
		"berth=a&channel=wind/speed&from=2026-03-01T06:00:00.25%2B02:00&to=2026-03-01T05:00:00Z&step=1m30s": {
			Berth: "a", Channel: reading.Channel{Kind: reading.WindSpeed}, From: four.Add(250 * time.Millisecond),
			To: four.Add(time.Hour), Step: 90 * time.Second},
		"berth=a&channel=tension&from=2026-03-01T04:00:00Z&to=2026-03-01T05:00:00Z": {
			Berth: "a", Channel: reading.Channel{Kind: reading.Tension}, From: four, To: four.Add(time.Hour)},
		good + "&points=400": {Berth: "east-3", Channel: reading.Channel{Line: "7", Kind: reading.Tension}, From: four, To: four.Add(time.Hour), Step: 10 * time.Second},
	} {
		s := &answers{}
		if w := get(t, s, query); w.Code != http.StatusOK || w.Body.String() != "[]" || w.Header().Get("Content-Type") != "application/json" {
			t.Errorf("%s: %d %s", query, w.Code, w.Body)
		}
		got := s.asked[0]
		if !got.From.Equal(want.From) || !got.To.Equal(want.To) {
			t.Errorf("%s: from %s to %s", query, got.From, got.To)
		}
		got.From, got.To = want.From, want.To
		if got != want {
			t.Errorf("%s: %+v", query, got)
		}
	}
}

// Each mistake has one line of text that names the parameter, and no mistake comes
// to the store.
func TestMistakes(t *testing.T) {
	without := func(name string) string {
		v, err := url.ParseQuery(good)
		if err != nil {
			t.Fatal(err)
		}
		v.Del(name)
		return v.Encode()
	}
	with := func(name, value string) string { return without(name) + "&" + name + "=" + url.QueryEscape(value) }
	for _, c := range []struct{ query, want string }{
		{"", "berth: must be given"},
		{without("berth"), "berth: must be given"},
		{with("berth", ""), "berth: must be given"},
		{without("channel"), "channel: must be given"},
		{without("from"), "from: must be given"},
		{without("to"), "to: must be given"},
		{with("channel", "7/load"), `channel: unknown channel "7/load"`},
		{with("channel", "tensions"), `channel: unknown channel "tensions"`},
		{with("from", "yesterday"), `from: "yesterday" is no RFC 3339 time`},
		{with("from", "2026-03-01 04:00:00"), `from: "2026-03-01 04:00:00" is no RFC 3339 time`},
		{with("to", "1772337600"), `to: "1772337600" is no RFC 3339 time`},
		{with("to", "2026-02-30T00:00:00Z"), `to: "2026-02-30T00:00:00Z" is no RFC 3339 time`},
		{with("step", "10"), `step: "10" is no duration above zero such as 10s`},
		{with("step", "0s"), `step: "0s" is no duration above zero such as 10s`},
		{with("step", "-1s"), `step: "-1s" is no duration above zero such as 10s`},
		{good + "&points=2", `points: "2" is no whole number from 3 to 200000`},
		{good + "&points=many", `points: "many" is no whole number from 3 to 200000`},
		{good + "&points=300&step=10s", "points: given beside a step"},
		{good + "&stpe=10s", "stpe: no such parameter; there are berth, channel, from, to, step and points"},
		{good + "&berth=east-4", "berth: given 2 times"},
		{good + "&step=%zz", `query: invalid URL escape "%zz"`},
		{good + ";step=10s", "query: invalid semicolon separator in query"},
	} {
		s := &answers{}
		w := get(t, s, c.query)
		if w.Code != http.StatusBadRequest || w.Body.String() != c.want+"\n" || len(s.asked) != 0 {
			t.Errorf("%s:\n%d %swant %s", c.query, w.Code, w.Body, c.want)
		}
	}
	// What every store looks at itself.
	for _, c := range []struct{ query, want string }{
		{with("berth", strings.Repeat("x", 65)), "bad query: berth: "},
		{with("from", "2026-03-01T05:00:00Z"), "bad query: to "},
		{with("from", "1969-12-31T00:00:00Z"), "is outside 1970 to 2261"},
		{with("to", "2262-01-01T00:00:00Z"), "is outside 1970 to 2261"},
		{with("step", "1us"), "bad query: step 1µs is not a whole number of milliseconds"},
		{with("step", "10ms"), "too many points: 360000 steps of 10ms, at most 200000"},
	} {
		w := get(t, &answers{}, c.query)
		if w.Code != http.StatusBadRequest || !strings.Contains(w.Body.String(), c.want) || strings.Count(w.Body.String(), "\n") != 1 {
			t.Errorf("%s:\n%d %swant %s", c.query, w.Code, w.Body, c.want)
		}
	}
}

func TestStoreThatDoesNotAnswer(t *testing.T) {
	for _, c := range []struct {
		err  error
		code int
		want string
		told bool
	}{
		{fmt.Errorf("%w: over 200000", store.ErrTooManyPoints), http.StatusBadRequest, "too many points: over 200000", false},
		{&store.Unavailable{Err: errors.New("connection refused by 192.0.2.7")}, http.StatusServiceUnavailable, "the store does not answer", true},
		{store.ErrClosed, http.StatusServiceUnavailable, "the store does not answer", true},
	} {
		var told waittest.Buffer
		w := httptest.NewRecorder()
		r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/api/history?"+good, nil)
		history.Handler(&answers{err: c.err}, nil, logger(&told)).ServeHTTP(w, r)
		if w.Code != c.code || w.Body.String() != c.want+"\n" {
			t.Errorf("%v: %d %s", c.err, w.Code, w.Body)
		}
		if got := strings.Contains(told.String(), "berth=east-3 channel=7/tension"); got != c.told {
			t.Errorf("%v: told %q", c.err, told.String())
		}
	}
}

// hung is a store that neither answers nor fails.
type hung struct{}

func (hung) Query(ctx context.Context, _ store.Query) ([]store.Result, error) {
	<-ctx.Done()
	return nil, ctx.Err()
}

// A store that hangs is told within the half minute that an answer may take.
func TestStoreThatHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		w := get(t, hung{}, good)
		if took := time.Since(began); w.Code != http.StatusServiceUnavailable || took >= 30*time.Second {
			t.Errorf("%d %s after %v", w.Code, w.Body, took)
		}
	})
}

// Whoever asked has gone: that is nobody's fault.
func TestAskerGoesAway(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var told waittest.Buffer
	w := httptest.NewRecorder()
	r := httptest.NewRequestWithContext(ctx, http.MethodGet, "/api/history?"+good, nil)
	history.Handler(&answers{err: ctx.Err()}, nil, logger(&told)).ServeHTTP(w, r)
	if w.Body.Len() != 0 || told.String() != "" {
		t.Errorf("answered %q, told %q", w.Body, told.String())
	}
}

// Values are what was measured, to the bit; steps have their columns.
func TestValuesRoundTrip(t *testing.T) {
	values := []float64{0, 88.5, -0.1, 1.0 / 3, 2.5e-9, 1e21, 123456789.123456789, math.MaxFloat64,
		math.SmallestNonzeroFloat64, math.Nextafter(100, 101)}
	r := store.Result{Channel: reading.Channel{Line: "7", Kind: reading.Tension}, Step: 10 * time.Second}
	for i, v := range values {
		r.Time = append(r.Time, 1772337600e9+int64(i)*5e8)
		r.Value, r.Min, r.Max, r.Std = append(r.Value, v), append(r.Min, -v), append(r.Max, v), append(r.Std, v/3)
		r.Count = append(r.Count, 1<<53-int64(i))
	}
	raw := store.Result{Channel: reading.Channel{Kind: reading.WindSpeed}, Time: r.Time[:1], Value: r.Value[:1]}

	w := get(t, &answers{results: []store.Result{r, raw}}, good)
	var got []struct {
		Channel, Unit        string
		StepMS               int64   `json:"step_ms"`
		TimeMS               []int64 `json:"time_ms"`
		Value, Min, Max, Std []float64
		Count                []int64
	}
	d := json.NewDecoder(w.Body)
	d.DisallowUnknownFields()
	if err := d.Decode(&got); err != nil {
		t.Fatal(err)
	}
	if len(got) != 2 || got[0].Channel != "7/tension" || got[0].Unit != "kN" || got[1].Channel != "wind/speed" || got[1].Unit != "m/s" {
		t.Fatalf("answer: %+v", got)
	}
	if g := got[0]; !reflect.DeepEqual([][]float64{g.Value, g.Min, g.Max, g.Std}, [][]float64{r.Value, r.Min, r.Max, r.Std}) ||
		!reflect.DeepEqual(g.Count, r.Count) || g.TimeMS[0] != 1772337600000 || g.TimeMS[1] != 1772337600500 || g.StepMS != 10_000 {
		t.Errorf("answer: %+v", g)
	}
	if g := got[1]; g.Min != nil || g.Max != nil || g.Std != nil || g.Count != nil || g.StepMS != 0 || len(g.Value) != 1 {
		t.Errorf("answer without steps: %+v", g)
	}
}

// No store has a value that is no number. One that gives it all the same gets no
// half answer sent.
func TestValueThatIsNoNumber(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1)} {
		r := store.Result{Channel: reading.Channel{Kind: reading.WindSpeed}, Time: []int64{1}, Value: []float64{v}}
		w := get(t, &answers{results: []store.Result{r}}, good)
		if w.Code != http.StatusInternalServerError || w.Body.String() != "the store gave a value that is no number\n" {
			t.Errorf("%v: %d %s", v, w.Code, w.Body)
		}
	}
}
