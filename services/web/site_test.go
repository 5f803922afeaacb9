package web_test

import (
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/goleak"

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/services/alarm"
	"hawser/services/alarm/alarmtest"
	"hawser/services/live"
	"hawser/services/web"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// deadline is how long a test waits for what has to happen.
const deadline = 20 * time.Second

// station is a site over a real alarm log and a real board, by a clock that the
// tests move.
type station struct {
	t      *testing.T
	alarms *alarm.Log
	board  *live.Board
	server *httptest.Server
	clock  *alarmtest.Clock
}

func newStation(t *testing.T, change func(*web.Options, *http.Server)) *station {
	t.Helper()
	s := &station{t: t, clock: alarmtest.NewClock(time.Date(2026, 3, 1, 5, 0, 0, 0, time.UTC))}
	log, registry := slog.New(slog.DiscardHandler), prometheus.NewRegistry()
	var err error
	s.alarms, err = alarm.Open(t.Context(), alarm.Options{Records: &alarmtest.Records{}, Logger: log, Registerer: registry, Now: s.clock.Now})
	must(t, err)
	s.board, err = live.New(live.Options{Registerer: registry, Now: s.clock.Now})
	must(t, err)
	o := web.Options{Alarms: s.alarms, Board: s.board, Log: log, Now: s.clock.Now, Interval: time.Millisecond}
	s.server = httptest.NewUnstartedServer(nil)
	if change != nil {
		change(&o, s.server.Config)
	}
	site, err := web.New(o)
	must(t, err)
	s.server.Config.Handler = site
	s.server.Start()
	t.Cleanup(func() {
		s.board.Close()
		s.server.CloseClientConnections()
		s.server.Close()
		s.alarms.Close()
	})
	return s
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// plan has a fibre line on a winch, a wire on bitts and one without a load pin.
func plan(berth string) *mooring.Plan {
	return &mooring.Plan{Berth: berth, Ship: mooring.Ship{Name: "Heron & <Daughters>"}, Limits: mooring.DefaultLimits(), Lines: []mooring.Line{
		{ID: "1", Group: mooring.Head, Material: mooring.HMPE, MBLkN: 640, MadeFast: mooring.Winch, Instrumented: true},
		{ID: "2", Group: mooring.FwdSpring, Material: mooring.SteelWire, MBLkN: 1000, MadeFast: mooring.Bitts, Instrumented: true},
		{ID: "3", Group: mooring.Stern, Material: mooring.HMPE, MBLkN: 640, MadeFast: mooring.Bitts},
	}}
}

func (s *station) feed(berth, channel string, value float64) {
	s.t.Helper()
	c, err := reading.ParseChannel(channel)
	must(s.t, err)
	s.board.Update(berth, s.clock.Now(), &reading.Block{Sequence: 1, Series: []reading.Series{
		{Channel: c, Time: []int64{s.clock.Now().UnixNano()}, Value: []float64{value}, Decimals: -1}}})
}

func (s *station) raise(berth string, position uint64, c detect.Condition, line string, detail string) string {
	s.t.Helper()
	must(s.t, s.alarms.Apply(s.t.Context(), berth, position, []detect.Change{{Time: s.clock.Now().UnixNano(), Condition: c, Raised: true,
		Line: line, Group: mooring.Head, Value: 12.5, Limit: 320, HasLimit: true, Unit: "kN", Detail: detail}}))
	all, _ := s.alarms.List("", false)
	for i := range all {
		if all[i].Line == line && all[i].Condition == c.String() {
			return all[i].ID
		}
	}
	s.t.Fatal("not raised")
	return ""
}

// client does not follow redirects.
func client() *http.Client {
	return &http.Client{Transport: &http.Transport{DisableKeepAlives: true}, Timeout: deadline,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
}

func (s *station) do(req *http.Request) (*http.Response, string) {
	s.t.Helper()
	resp, err := client().Do(req)
	must(s.t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	must(s.t, err)
	return resp, string(body)
}

func (s *station) get(path string) (*http.Response, string) {
	s.t.Helper()
	req, err := http.NewRequestWithContext(s.t.Context(), http.MethodGet, s.server.URL+path, nil)
	must(s.t, err)
	return s.do(req)
}
