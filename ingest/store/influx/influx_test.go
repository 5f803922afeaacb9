package influx_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/ingest/store/influx"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// answer is what a server says.
type answer struct {
	status     int
	retryAfter string
	body       string
}

// server answers each write from a list and notes the bodies; what a real one does
// with them is tested in realserver.
type server struct {
	*httptest.Server
	mu      sync.Mutex
	answers []answer
	bodies  []string
	queries []string
	paths   []string
	auth    string
	csv     string
}

func newServer(t *testing.T, answers ...answer) *server {
	s := &server{answers: answers}
	s.Server = httptest.NewServer(s)
	t.Cleanup(s.Close)
	return s
}

func (s *server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.paths = append(s.paths, r.URL.String())
	s.auth = r.Header.Get("Authorization")
	body := io.Reader(r.Body)
	if r.Header.Get("Content-Encoding") == "gzip" {
		z, err := gzip.NewReader(r.Body)
		if err != nil {
			http.Error(w, err.Error(), http.StatusTeapot)
			return
		}
		body = z
	}
	text, _ := io.ReadAll(body)
	if strings.HasPrefix(r.URL.Path, "/api/v2/query") {
		s.queries = append(s.queries, string(text))
		w.Header().Set("Content-Type", "text/csv")
		io.WriteString(w, s.csv)
		return
	}
	s.bodies = append(s.bodies, string(text))
	a := answer{status: http.StatusNoContent}
	if len(s.answers) > 0 {
		a, s.answers = s.answers[0], s.answers[1:]
	}
	if a.retryAfter != "" {
		w.Header().Set("Retry-After", a.retryAfter)
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(a.status)
	io.WriteString(w, a.body)
}

func open(t *testing.T, o influx.Options) *influx.Store {
	t.Helper()
	o.Dir = t.TempDir()
	s, err := influx.Open(o)
	must(t, err)
	t.Cleanup(func() { _ = s.Close() })
	return s
}

// openLimited opens a store that sends few points in a request, or waits for one not long.
func openLimited(t *testing.T, url string, points int, timeout time.Duration) *influx.Store {
	t.Helper()
	o := influx.Options{URL: url, Bucket: "hawser"}
	o.Requests(points, timeout)
	return open(t, o)
}

var tension7 = reading.Channel{Line: "7", Kind: reading.Tension}

const at = 1767225600000000000

func seconds(c reading.Channel, values ...float64) reading.Series {
	s := reading.Series{Channel: c, Decimals: 1, Value: values}
	for i := range values {
		s.Time = append(s.Time, at+int64(i)*1e9)
	}
	return s
}

func block(series ...reading.Series) *reading.Block { return &reading.Block{Series: series} }

// Points are sent as the line protocol describes: measurement, tags and fields
// with commas, spaces and equals signs of tags escaped, integers with an i.
func TestPoints(t *testing.T) {
	srv := newServer(t)
	s := open(t, influx.Options{URL: srv.URL, Bucket: "hawser/autogen", Token: "u:p"})
	odd := seconds(reading.Channel{Line: `a b,c=d`, Kind: reading.Payout}, -0.25)
	quality := seconds(tension7, math.NaN(), 5, math.Inf(1), 1e21)
	quality.Quality = []reading.Quality{reading.Bad, reading.Late, reading.Good, reading.Good}
	must(t, s.Append(t.Context(), "jetty-1",
		block(seconds(tension7, 203.4, 0.1), seconds(reading.Channel{Kind: reading.WindDirection}, 359.5), odd, quality)))
	want := `tension_kilonewtons,berth=jetty-1,line=7 value=203.4 1767225600000000000
tension_kilonewtons,berth=jetty-1,line=7 value=0.1 1767225601000000000
wind_direction_degrees,berth=jetty-1 value=359.5 1767225600000000000
payout_metres,berth=jetty-1,line=a\ b\,c\=d value=-0.25 1767225600000000000
tension_kilonewtons,berth=jetty-1,line=7 quality=1i 1767225600000000000
tension_kilonewtons,berth=jetty-1,line=7 value=5,quality=2i 1767225601000000000
tension_kilonewtons,berth=jetty-1,line=7 quality=1i 1767225602000000000
tension_kilonewtons,berth=jetty-1,line=7 value=1000000000000000000000 1767225603000000000
`
	if len(srv.bodies) != 1 || srv.bodies[0] != want {
		t.Errorf("got  %q\nwant %q", srv.bodies, want)
	}
	if want := "/api/v2/write?bucket=hawser%2Fautogen&org=&precision=ns"; srv.paths[0] != want {
		t.Errorf("wrote to %s, want %s", srv.paths[0], want)
	}
	if srv.auth != "Token u:p" {
		t.Errorf("authorization %q", srv.auth)
	}
}

// Databases in service have these names.
func TestMeasurements(t *testing.T) {
	srv := newServer(t)
	s := open(t, influx.Options{URL: srv.URL, Bucket: "hawser"})
	b := &reading.Block{}
	for k := reading.Tension; k.String() != reading.Unknown.String(); k++ {
		c := reading.Channel{Kind: k}
		if k.OfLine() {
			c.Line = "7"
		}
		b.Series = append(b.Series, seconds(c, 1))
	}
	must(t, s.Append(t.Context(), "jetty-1", b))
	var got []string
	for line := range strings.Lines(srv.bodies[0]) {
		name, _, _ := strings.Cut(line, ",")
		got = append(got, name)
	}
	want := []string{
		"tension_kilonewtons", "payout_metres", "brake_set", "wind_speed_metres_per_second", "wind_direction_degrees",
		"water_level_metres", "draft_forward_metres", "draft_aft_metres", "under_watch",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestBatches(t *testing.T) {
	srv := newServer(t)
	s := openLimited(t, srv.URL, 4, 0)
	entries := []store.Entry{
		{Berth: "jetty-1", Block: block(seconds(tension7, 1, 2, 3, 4, 5, 6))},
		{Berth: "jetty-2", Block: block(seconds(tension7, 1, 2, 3), reading.Series{Channel: tension7})},
	}
	must(t, s.AppendMany(t.Context(), entries))
	var lines []int
	for _, b := range srv.bodies {
		lines = append(lines, strings.Count(b, "\n"))
	}
	if fmt.Sprint(lines) != "[4 4 1]" {
		t.Errorf("lines of requests %v, want 4, 4, 1", lines)
	}
}

// Texts of a 1.8 server are from its answers; those of a 2.x one from memory.
func TestAnswers(t *testing.T) {
	for _, c := range []struct {
		name    string
		answers []answer
		refused int           // readings refused, the rest stored
		after   time.Duration // to wait, for an answer to try again
		again   bool
	}{
		{name: "written"},
		{name: "some refused", answers: []answer{{status: 400, body: `{"code":"invalid","message":"partial write: field type conflict: input field \"value\" on measurement \"a\" is type float, already exists as type string dropped=2"}`}}, refused: 2},
		{name: "older than the policy keeps", answers: []answer{{status: 422, body: `{"code":"unprocessable entity","message":"partial write: points beyond retention policy dropped=1"}`}}, refused: 1},
		{name: "refused, no number said", answers: []answer{{status: 400, body: `{"code":"invalid","message":"unable to parse"}`}}, refused: 4},
		{name: "more refused than sent", answers: []answer{{status: 400, body: `{"code":"invalid","message":"dropped=99"}`}}, refused: 4},
		{name: "no database", answers: []answer{{status: 404, body: `{"code":"not found","message":"database not found: \"hawser\""}`}}, again: true},
		{name: "no policy", answers: []answer{{status: 400, body: `{"code":"invalid","message":"retention policy not found: autogen"}`}}, again: true},
		{name: "token", answers: []answer{{status: 401, body: `{"code":"unauthorized","message":"unauthorized access"}`}}, again: true},
		{name: "rights", answers: []answer{{status: 403, body: `{}`}}, again: true},
		{name: "too many", answers: []answer{{status: 429, retryAfter: "7", body: `{}`}}, again: true, after: 7 * time.Second},
		{name: "overload", answers: []answer{{status: 503, retryAfter: "3", body: `{}`}}, again: true, after: 3 * time.Second},
		{name: "fault", answers: []answer{{status: 500, body: `{"code":"internal error","message":"engine is closed"}`}}, again: true},
		{name: "not even JSON", answers: []answer{{status: 502, body: `<html>`}}, again: true},
		{name: "too large, in halves", answers: []answer{{status: 413, body: `{}`}}},
		{name: "one line too large", answers: []answer{
			{status: 413, body: `{}`}, {status: 413, body: `{}`}, {status: 413, body: `{}`},
		}, refused: 1},
		{name: "halves, then down", answers: []answer{{status: 413, body: `{}`}, {status: 204}, {status: 503, body: `{}`}}, again: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			srv := newServer(t, c.answers...)
			s := open(t, influx.Options{URL: srv.URL, Bucket: "hawser"})
			err := s.Append(t.Context(), "jetty-1", block(seconds(tension7, 1, 2, 3, 4)))
			down, isDown := errors.AsType[*store.Unavailable](err)
			refused, isRefused := errors.AsType[*store.Refused](err)
			switch {
			case c.again:
				if !isDown || isRefused || down.After != c.after {
					t.Errorf("error %v, want to try again after %s", err, c.after)
				}
			case c.refused > 0:
				if !isRefused || isDown || refused.Count[store.Rejected] != c.refused || refused.Total() != c.refused {
					t.Errorf("error %v, want %d rejected", err, c.refused)
				}
			case err != nil:
				t.Error(err)
			}
		})
	}
}

// A batch refused does not keep the next from being written.
func TestGoesOnAfterRefused(t *testing.T) {
	srv := newServer(t, answer{status: 400, body: `{"code":"invalid","message":"dropped=1"}`})
	s := openLimited(t, srv.URL, 2, 0)
	err := s.Append(t.Context(), "jetty-1", block(seconds(tension7, 1, 2, 3, 4)))
	refused, ok := errors.AsType[*store.Refused](err)
	if !ok || refused.Total() != 1 || len(srv.bodies) != 2 {
		t.Errorf("error %v after %d requests, want 1 rejected after 2", err, len(srv.bodies))
	}
	if want := `berth "jetty-1": "7/tension" at 2026-01-01T00:00:00Z`; refused.First != want {
		t.Errorf("first %s, want %s", refused.First, want)
	}
}

func TestDown(t *testing.T) {
	srv := newServer(t)
	url := srv.URL
	srv.Close()
	s := open(t, influx.Options{URL: url, Bucket: "hawser"})
	err := s.Append(t.Context(), "jetty-1", block(seconds(tension7, 1)))
	if _, ok := errors.AsType[*store.Unavailable](err); !ok {
		t.Errorf("error %v, want unavailable", err)
	}
	_, err = s.Query(t.Context(), store.Query{Berth: "jetty-1", Channel: tension7, From: time.Unix(0, at), To: time.Unix(1, at)})
	if err == nil || errors.Is(err, context.Canceled) {
		t.Errorf("query: %v", err)
	}
}

// A server that takes a request and never answers is one that is down.
func TestHangs(t *testing.T) {
	srv := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		io.Copy(io.Discard, r.Body) // or the end of the request is not seen
		<-r.Context().Done()
	}))
	defer srv.Close()
	s := openLimited(t, srv.URL, 0, 20*time.Millisecond)
	err := s.Append(t.Context(), "jetty-1", block(seconds(tension7, 1)))
	if _, ok := errors.AsType[*store.Unavailable](err); !ok || !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("error %v, want unavailable for the time it took", err)
	}
}

// A name is never more than a name in a query.
func TestQueryText(t *testing.T) {
	srv := newServer(t)
	s := open(t, influx.Options{URL: srv.URL, Bucket: "hawser"})
	_, err := s.Query(t.Context(), store.Query{
		Berth: `x") or true or ("${r}`, Channel: tension7, From: time.Unix(0, at), To: time.Unix(60, at),
	})
	must(t, err)
	q := srv.queries[0]
	if strings.Contains(q, "or true or (") || strings.Contains(q, "$") || !strings.Contains(q, `x\\x22\\x29 or true or \\x28`) {
		t.Errorf("query %s", q)
	}
}

func TestOptions(t *testing.T) {
	for _, o := range []influx.Options{
		{}, {URL: "http://127.0.0.1:8086"}, {URL: "127.0.0.1:8086", Bucket: "b"}, {URL: "ftp://h", Bucket: "b"},
		{URL: "http://h", Bucket: "b"}, {URL: "http://h", Bucket: "b", Dir: t.TempDir(), Settle: -1},
	} {
		if _, err := influx.Open(o); err == nil {
			t.Errorf("%+v taken", o)
		}
	}
}

// nowhere takes every request and keeps nothing.
func nowhere(tb testing.TB) *httptest.Server {
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		io.Copy(io.Discard, r.Body)
		w.WriteHeader(http.StatusNoContent)
	}))
	tb.Cleanup(srv.Close)
	return srv
}

// What a plan says of lines is fields by the line protocol's description: strings
// in quotes, tags escaped.
func TestPutLines(t *testing.T) {
	srv := newServer(t)
	s := open(t, influx.Options{URL: srv.URL, Bucket: "hawser/autogen"})
	lines := []store.PlanLine{{Line: "7", Group: "fwd-spring", MBLkN: 660.5, WorkingLoadKN: 330.25}, {Line: "a b", Group: "head", MBLkN: 1e3, WorkingLoadKN: 550}}
	must(t, s.PutLines(t.Context(), "jetty-1", time.Unix(0, at), lines))
	want := `mooring_line,berth=jetty-1,line=7 group="fwd-spring",mbl_kilonewtons=660.5,working_load_kilonewtons=330.25 1767225600000000000
mooring_line,berth=jetty-1,line=a\ b group="head",mbl_kilonewtons=1000,working_load_kilonewtons=550 1767225600000000000`
	if len(srv.bodies) != 1 || strings.TrimSpace(srv.bodies[0]) != want {
		t.Errorf("got  %q\nwant %q", srv.bodies, want)
	}
	if err := s.PutLines(t.Context(), "jetty\n1", time.Unix(0, at), lines); err == nil {
		t.Error("a berth with a line break is taken")
	}
}

// A list that is damaged is set aside and made anew, as is one that was never there:
// history goes on, and the follower of the journal begins from its start.
func TestListDamaged(t *testing.T) {
	for name, spoil := range map[string]func(list []byte) []byte{
		"garbage":   func([]byte) []byte { return bytes.Repeat([]byte("tension"), 10_000) },
		"cut short": func(list []byte) []byte { return list[:len(list)/3] },
		"tree damaged": func(list []byte) []byte {
			for i := 2 * os.Getpagesize(); i < len(list); i++ { // all but the two heads
				list[i] ^= 0xa5
			}
			return list
		},
	} {
		t.Run(name, func(t *testing.T) {
			o := influx.Options{URL: newServer(t).URL, Bucket: "hawser", Dir: t.TempDir(), Settle: time.Hour}
			start := func(wanted bool) *influx.Store {
				t.Helper()
				s, err := influx.Open(o)
				must(t, err)
				if s.Refill().Wanted() != wanted {
					t.Errorf("a refill is wanted: %t, want %t", !wanted, wanted)
				}
				return s
			}
			for range 3 { // and what was set aside goes for the next
				must(t, start(true).Close()) // before the refill begins, for another reason
				s := start(true)
				s.Refill().Begun()
				must(t, s.Close())
				s = start(false)
				if err := s.Append(t.Context(), "jetty-1", block(seconds(tension7, 1))); err != nil {
					t.Error(err)
				}
				must(t, s.Close())
				path := filepath.Join(o.Dir, "waiting.db")
				list, err := os.ReadFile(path)
				must(t, err)
				must(t, os.WriteFile(path, spoil(list), 0o600))
			}
		})
	}
}

// What could not be rolled up, since the server was down, waits for the next time, in
// this process and the next.
func TestRollUpWaitsForTheServer(t *testing.T) {
	srv := newServer(t)
	o := influx.Options{URL: srv.URL, Bucket: "hawser", Dir: t.TempDir(), Settle: time.Hour}
	s, err := influx.Open(o)
	must(t, err)
	must(t, s.Append(t.Context(), "jetty-1", block(seconds(tension7, 1))))
	srv.Close()
	for range 2 {
		for range 2 {
			if err := s.RollUp(t.Context()); err == nil || !strings.Contains(err.Error(), "roll up berth jetty-1 from 2026-01-01T00:00:00Z") {
				t.Errorf("error %v, want one that names the berth and the time", err)
			}
		}
		must(t, s.Close())
		s, err = influx.Open(o)
		must(t, err)
	}
	must(t, s.Close())
	if err := s.RollUp(t.Context()); !errors.Is(err, store.ErrClosed) {
		t.Errorf("roll up of a closed store: %v", err)
	}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
