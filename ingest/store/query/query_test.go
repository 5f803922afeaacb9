package query_test

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"hawser/detect/reading"
	"hawser/ingest/store/query"
	"hawser/ingest/store/tsdb"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var four = time.Date(2026, 3, 1, 4, 0, 0, 0, time.UTC)

// seen is whose request it is: a berth, since a time.
type seen struct{}

type sight struct {
	berth string
	since time.Time
}

// served is an API over a store in which line 7 of east-3 has at each second of an
// hour the second's number in tenths of a kN, but no number from 04:30:00 to
// 04:31:00; line 8 half of it, in steps of 0.05; west-1 one reading; and wind.
func served(t *testing.T, o query.Options) (http.Handler, *tsdb.Store) {
	t.Helper()
	s, err := tsdb.Open(tsdb.Options{Dir: t.TempDir(), Settle: time.Hour, Now: func() time.Time { return four.Add(24 * time.Hour) }})
	must(t, err)
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	seven := reading.Series{Channel: reading.Channel{Line: "7", Kind: reading.Tension}, Decimals: 1}
	eight := reading.Series{Channel: reading.Channel{Line: "8", Kind: reading.Tension}, Decimals: 2}
	for i := range 3600 {
		at, q, v := four.Add(time.Duration(i)*time.Second).UnixNano(), reading.Good, float64(i)/10
		if i >= 1800 && i < 1860 {
			q, v = reading.Bad, math.NaN()
		}
		seven.Time, seven.Value, seven.Quality = append(seven.Time, at), append(seven.Value, v), append(seven.Quality, q)
		eight.Time, eight.Value = append(eight.Time, at), append(eight.Value, float64(5*i)/100)
	}
	wind := reading.Series{Channel: reading.Channel{Kind: reading.WindSpeed}, Decimals: -1, Time: seven.Time[:1], Value: []float64{7.25}}
	west := reading.Series{Channel: seven.Channel, Decimals: 0, Time: seven.Time[:1], Value: []float64{99}}
	for berth, series := range map[string][]reading.Series{"east-3": {seven, eight, wind}, "west-1": {west}} {
		must(t, s.Append(t.Context(), berth, &reading.Block{Series: series}))
	}
	o.Source = s.Queryable(tsdb.MetricOptions{
		Sees: func(ctx context.Context, berth string) (time.Time, bool) {
			may, limited := ctx.Value(seen{}).(sight)
			return may.since, !limited || may.berth == berth
		},
		Group: func(berth, line string) string {
			if berth == "east-3" && line == "7" {
				return "fwd-spring"
			}
			return ""
		},
	})
	o.Log, o.Now = slog.New(slog.DiscardHandler), func() time.Time { return four.Add(time.Hour) }
	for _, m := range tsdb.Metrics() {
		o.Metadata = append(o.Metadata, query.Metadata{Name: m.Name, Unit: m.Unit, Help: m.Help})
	}
	api, err := query.New(o)
	must(t, err)
	t.Cleanup(func() {
		if err := api.Close(); err != nil {
			t.Error(err)
		}
	})
	mux := http.NewServeMux()
	for pattern, h := range api.Routes() {
		mux.Handle(pattern, h)
	}
	return mux, s
}

type response struct {
	Status, ErrorType, Error string
	Data                     json.RawMessage
	Warnings                 []string
}

func do(t *testing.T, h http.Handler, ctx context.Context, method, path string, form url.Values) (response, int) {
	t.Helper()
	var r *http.Request
	if method == http.MethodPost {
		r = httptest.NewRequestWithContext(ctx, method, path, strings.NewReader(form.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	} else {
		r = httptest.NewRequestWithContext(ctx, method, path+"?"+form.Encode(), nil)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	var out response
	if err := json.Unmarshal(w.Body.Bytes(), &out); err != nil || w.Header().Get("Content-Type") != "application/json" {
		t.Fatalf("%s: %v: %s", path, err, w.Body)
	}
	return out, w.Code
}

// instant is what an instant query gives, written as {labels} value, in order.
func instant(t *testing.T, h http.Handler, ctx context.Context, q string, at time.Time) []string {
	t.Helper()
	got, code := do(t, h, ctx, http.MethodPost, "/api/v1/query", url.Values{"query": {q}, "time": {at.Format(time.RFC3339Nano)}})
	if code != http.StatusOK || got.Status != "success" {
		t.Fatalf("%s: %d %+v", q, code, got)
	}
	var data struct {
		ResultType string
		Result     []struct {
			Metric map[string]string
			Value  [2]any
		}
	}
	if err := json.Unmarshal(got.Data, &data); err != nil || data.ResultType != "vector" {
		t.Fatalf("%s: %v: %s", q, err, got.Data)
	}
	out := []string{}
	for _, r := range data.Result {
		v, err := strconv.ParseFloat(r.Value[1].(string), 64)
		must(t, err)
		out = append(out, fmt.Sprintf("%s/%s %v", r.Metric["berth"], r.Metric["line"], v))
	}
	return out
}

// Reckoned by hand from the readings: at 04:10:00 line 7 has 600 tenths of a kN, so
// 60,000 N.
func TestInstants(t *testing.T) {
	h, s := served(t, query.Options{})
	at := func(hhmmss string) time.Time {
		when, err := time.Parse(time.RFC3339, "2026-03-01T"+hhmmss+"Z")
		must(t, err)
		return when
	}
	check := func() {
		t.Helper()
		for _, c := range []struct {
			query, at string
			want      []string
		}{
			{`hawser_line_tension_newtons{berth="east-3"}`, "04:10:00", []string{"east-3/7 60000", "east-3/8 30000"}},
			{`hawser_line_tension_newtons{group="fwd-spring"}`, "04:10:00", []string{"east-3/7 60000"}},
			{`hawser_line_tension_newtons{line=~"7|9"}`, "04:04:59", []string{"east-3/7 29900", "west-1/7 99000"}},
			{`hawser_wind_speed_meters_per_second`, "04:00:00", []string{"east-3/ 7.25"}},
			// No number: the one before does not stand in for it.
			{`hawser_line_tension_newtons{line="7",berth="east-3"}`, "04:30:30", []string{}},
			{`hawser_line_tension_newtons{line="7",berth="east-3"}`, "04:31:00", []string{"east-3/7 186000"}},
			{`count_over_time(hawser_line_tension_newtons{line="7",berth="east-3"}[10m])`, "04:35:00", []string{"east-3/7 540"}},
			// Over (04:09:50, 04:10:00]: 591 to 600 tenths.
			{`avg_over_time(hawser_line_tension_newtons{line="7",berth="east-3"}[10s])`, "04:10:00", []string{"east-3/7 59550"}},
			{`max(hawser_line_tension_newtons{berth="east-3"})`, "04:10:00", []string{"/ 60000"}},
			// Rolls: of [04:09:50, 04:10:00), which are 590 to 599 tenths.
			{`hawser_line_tension_newtons:avg10s{berth="east-3",line="7"}`, "04:10:00", []string{"east-3/7 59450"}},
			{`hawser_line_tension_newtons:min10m{berth="east-3"}`, "04:20:00", []string{"east-3/7 60000", "east-3/8 30000"}},
			{`hawser_line_tension_newtons:max10m{berth="east-3"}`, "04:20:00", []string{"east-3/7 119900", "east-3/8 59950"}},
			{`hawser_line_tension_newtons:count10m{berth="east-3",line="7"}`, "04:40:00", []string{"east-3/7 540"}},
			{`hawser_line_tension_newtons:count1m{berth="east-3",line="7"}`, "04:31:00", []string{"east-3/7 60"}},
			{`count_over_time(hawser_line_tension_newtons:count1m{berth="east-3",line="7"}[10m])`, "04:40:00", []string{"east-3/7 9"}},
			// Of ten whole numbers in a row the standard deviation is the root of (10² - 1)/12.
			{`round(hawser_line_tension_newtons:stddev10s{berth="east-3",line="7"}, 0.01)`, "04:10:00", []string{"east-3/7 287.23"}},
			{`hawser_line_tension_newtons:avg10m{berth="east-3"} offset -10m`, "04:40:00", []string{"east-3/7 269950", "east-3/8 134975"}},
			// A span is told when it is over; the newest reading is of 04:59:59.
			{`last_over_time(hawser_line_tension_newtons:max10m{berth="east-3",line="8"}[15m])`, "05:00:00", []string{"east-3/8 149950"}},
			{`sum_over_time(hawser_line_tension_newtons:count1s{berth="east-3",line="8"}[1h])`, "05:00:00", []string{"east-3/8 3599"}},
			{`hawser_line_tension_newtons{berth="north-2"}`, "04:10:00", []string{}},
		} {
			if got := instant(t, h, t.Context(), c.query, at(c.at)); !reflect.DeepEqual(got, c.want) {
				t.Errorf("%s at %s: %v, want %v", c.query, c.at, got, c.want)
			}
		}
	}
	check() // rolls from readings
	must(t, s.RollUp(t.Context()))
	check() // rolls from rolls
}

// A ranges's points, one a step, by hand.
func TestRange(t *testing.T) {
	h, _ := served(t, query.Options{})
	for _, method := range []string{http.MethodGet, http.MethodPost} {
		got, code := do(t, h, t.Context(), method, "/api/v1/query_range", url.Values{
			"query": {`hawser_line_tension_newtons{berth="east-3",line="8"}`}, "step": {"20m"},
			"start": {fmt.Sprint(four.Unix())}, "end": {four.Add(50 * time.Minute).Format(time.RFC3339)}})
		want := fmt.Sprintf(`{"resultType":"matrix","result":[{"metric":{"__name__":"hawser_line_tension_newtons","berth":"east-3","line":"8"},`+
			`"values":[[%d,"0"],[%d,"60000"],[%d,"120000"]]}]}`, four.Unix(), four.Unix()+1200, four.Unix()+2400)
		if code != http.StatusOK || string(got.Data) != want {
			t.Errorf("%s: %d %s\nwant %s", method, code, got.Data, want)
		}
	}
}

// Whoever sees one berth since a time is told nothing else, by any route.
func TestOnlyWhatTheCallerSees(t *testing.T) {
	h, s := served(t, query.Options{})
	must(t, s.RollUp(t.Context()))
	since := four.Add(30*time.Minute + 30*time.Second)
	crew := context.WithValue(t.Context(), seen{}, sight{"east-3", since})
	for q, want := range map[string][]string{
		`count_over_time(hawser_line_tension_newtons[2h])`:                 {"east-3/7 1740", "east-3/8 1770"},
		`hawser_line_tension_newtons offset 35m`:                           {},
		`count_over_time(hawser_line_tension_newtons:max10m[2h])`:          {"east-3/7 1", "east-3/8 1"},
		`sum_over_time(hawser_line_tension_newtons:count1m{line="8"}[2h])`: {"east-3/8 1680"},
		`hawser_line_tension_newtons{berth="west-1"}`:                      {},
		`hawser_wind_speed_meters_per_second offset 59m`:                   {},
	} {
		if got := instant(t, h, crew, q, four.Add(time.Hour)); !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %v, want %v", q, got, want)
		}
	}
	for path, want := range map[string]string{
		"/api/v1/label/berth/values": `["east-3"]`,
		"/api/v1/label/line/values":  `["7","8"]`,
		"/api/v1/label/group/values": `["fwd-spring"]`,
		"/api/v1/labels":             `["__name__","berth","group","line"]`,
	} {
		if got, code := do(t, h, crew, http.MethodGet, path, nil); code != http.StatusOK || string(got.Data) != want {
			t.Errorf("%s: %d %s", path, code, got.Data)
		}
	}
	nobody := context.WithValue(t.Context(), seen{}, sight{berth: "nowhere"})
	if got, _ := do(t, h, nobody, http.MethodGet, "/api/v1/labels", nil); string(got.Data) != "[]" {
		t.Errorf("nobody's labels: %s", got.Data)
	}
}

func TestLists(t *testing.T) {
	h, _ := served(t, query.Options{})
	for _, c := range []struct {
		path string
		form url.Values
		want string
	}{
		{"/api/v1/series", url.Values{"match[]": {`hawser_line_tension_newtons{berth="west-1"}`, `hawser_wind_speed_meters_per_second`}},
			`[{"__name__":"hawser_line_tension_newtons","berth":"west-1","line":"7"},{"__name__":"hawser_wind_speed_meters_per_second","berth":"east-3"}]`},
		{"/api/v1/series", url.Values{"match[]": {`hawser_line_tension_newtons`}, "start": {fmt.Sprint(four.Unix() + 600)}, "limit": {"1"}},
			`[{"__name__":"hawser_line_tension_newtons","berth":"east-3","group":"fwd-spring","line":"7"}]`},
		{"/api/v1/label/berth/values", url.Values{"match[]": {`hawser_wind_speed_meters_per_second`}}, `["east-3"]`},
		{"/api/v1/label/__name__/values", url.Values{"match[]": {`{__name__=~".*_newtons(:avg1.*)?"}`}},
			`["hawser_line_tension_newtons","hawser_line_tension_newtons:avg10m","hawser_line_tension_newtons:avg10s","hawser_line_tension_newtons:avg1m","hawser_line_tension_newtons:avg1s"]`},
		{"/api/v1/metadata", url.Values{"metric": {"hawser_line_payout_meters"}},
			`{"hawser_line_payout_meters":[{"type":"gauge","help":"Line paid out past the drum since zeroing, positive outboard.","unit":"meters"}]}`},
	} {
		got, code := do(t, h, t.Context(), http.MethodGet, c.path, c.form)
		if code != http.StatusOK || string(got.Data) != c.want {
			t.Errorf("%s %v: %d %s\nwant %s", c.path, c.form, code, got.Data, c.want)
		}
	}
	got, _ := do(t, h, t.Context(), http.MethodGet, "/api/v1/status/buildinfo", nil)
	if !strings.Contains(string(got.Data), `"version":"3.`) {
		t.Errorf("build info %s", got.Data)
	}
}

// More series than were asked for are told of.
func TestLimit(t *testing.T) {
	h, _ := served(t, query.Options{})
	for _, c := range []struct {
		path, match, limit string
		warns              bool
	}{
		{"query", "query", "1", true}, {"query", "query", "9", false},
		{"query_range", "query", "1", true}, {"query_range", "query", "9", false},
		{"series", "match[]", "1", true}, {"series", "match[]", "9", false},
		{"labels", "match[]", "1", true}, {"label/line/values", "match[]", "2", false},
	} {
		got, code := do(t, h, t.Context(), http.MethodGet, "/api/v1/"+c.path, url.Values{c.match: {`{__name__="hawser_line_tension_newtons"}`},
			"limit": {c.limit}, "time": {fmt.Sprint(four.Unix())}, "start": {fmt.Sprint(four.Unix())}, "end": {fmt.Sprint(four.Unix() + 60)}, "step": {"60"}})
		if code != http.StatusOK || (len(got.Warnings) > 0) != c.warns {
			t.Errorf("%s of at most %s: %d, warnings %q", c.path, c.limit, code, got.Warnings)
		}
	}
}

// Each mistake and each bound has one error of the API's form.
func TestRefusals(t *testing.T) {
	var o query.Options
	o.Bound(5000, 0)
	h, _ := served(t, o)
	ranged := func(name, value string) url.Values {
		v := url.Values{"query": {"1"}, "start": {"1772337600"}, "end": {"1772341200"}, "step": {"60"}}
		v.Set(name, value)
		return v
	}
	for _, c := range []struct {
		path string
		form url.Values
		kind string
		code int
		text string
	}{
		{"query", url.Values{"query": {"hawser_line_tension_newtons{"}}, "bad_data", 400, "parse error"},
		{"query", url.Values{"query": {"1"}, "time": {"noon"}}, "bad_data", 400, `time: "noon" is neither`},
		{"query", url.Values{"query": {"1"}, "timeout": {"soon"}}, "bad_data", 400, `timeout: "soon" is no duration`},
		{"query", url.Values{"query": {"1"}, "limit": {"-1"}}, "bad_data", 400, `limit: "-1" is no whole number`},
		{"query", url.Values{"query": {`hawser_line_tension_newtons{berth="east-3"}[1h]`}, "time": {fmt.Sprint(four.Unix() + 3600)}}, "execution", 422, "too many samples"},
		{"query_range", ranged("step", ""), "bad_data", 400, "step: must be given"},
		{"query_range", ranged("step", "0"), "bad_data", 400, "step: must be given"},
		{"query_range", ranged("step", "0.1"), "bad_data", 400, "step: 100ms gives over 11000 points"},
		{"query_range", ranged("end", "1772337599"), "bad_data", 400, "end: is before start"},
		{"query_range", ranged("start", ""), "bad_data", 400, "start and end must be given"},
		{"series", url.Values{}, "bad_data", 400, "match[]: must be given"},
		{"series", url.Values{"match[]": {"{"}}, "bad_data", 400, "match[]: "},
	} {
		got, code := do(t, h, t.Context(), http.MethodGet, "/api/v1/"+c.path, c.form)
		if code != c.code || got.Status != "error" || got.ErrorType != c.kind || !strings.Contains(got.Error, c.text) {
			t.Errorf("%s %v: %d %+v", c.path, c.form, code, got)
		}
	}
	// One at a time, and its time is short: what waits for its turn is told so.
	o.Bound(0, time.Nanosecond)
	slow, _ := served(t, o)
	if got, code := do(t, slow, t.Context(), http.MethodGet, "/api/v1/query", url.Values{"query": {"1"}}); code != 503 || got.ErrorType != "timeout" {
		t.Errorf("no time: %d %+v", code, got)
	}
}

func TestOptions(t *testing.T) {
	for _, o := range []query.Options{{}, {Log: slog.Default()}} {
		if _, err := query.New(o); err == nil {
			t.Errorf("%+v taken", o)
		}
	}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
