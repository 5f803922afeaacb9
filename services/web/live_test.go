package web_test

import (
	"bufio"
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/klauspost/compress/gzip"

	"hawser/detect"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/web"
)

// stream reads server-sent events.
type stream struct {
	t    *testing.T
	resp *http.Response
	in   *bufio.Scanner
	name string // of the newest event
	id   string
}

func (s *station) follow(path, lastID string) *stream {
	s.t.Helper()
	req, err := http.NewRequestWithContext(s.t.Context(), http.MethodGet, s.server.URL+path, nil)
	must(s.t, err)
	req.Header.Set("Accept-Encoding", "gzip")
	if lastID != "" {
		req.Header.Set("Last-Event-ID", lastID)
	}
	resp, err := client().Do(req)
	must(s.t, err)
	s.t.Cleanup(func() { resp.Body.Close() })
	var body io.Reader = resp.Body
	if resp.Header.Get("Content-Encoding") == "gzip" {
		body, err = gzip.NewReader(resp.Body)
		must(s.t, err)
	}
	in := bufio.NewScanner(body)
	in.Buffer(nil, 1<<20)
	return &stream{t: s.t, resp: resp, in: in}
}

// next gives the next event, nil at the end.
func (s *stream) next() *message {
	s.t.Helper()
	var m *message
	for s.in.Scan() {
		field, value, _ := strings.Cut(s.in.Text(), ": ")
		switch field {
		case "":
			return m
		case "event":
			s.name = value
		case "id":
			s.id = value
		case "data":
			m = &message{}
			must(s.t, json.Unmarshal([]byte(value), m))
		default:
			s.t.Errorf("line that is of no event: %q", s.in.Text())
		}
	}
	return nil
}

// until reads events until one is as wanted.
func (s *stream) until(what string, fits func(*message) bool) *message {
	s.t.Helper()
	for range 1000 {
		m := s.next()
		if m == nil {
			s.t.Fatalf("the stream ended before: %s", what)
		}
		if fits(m) {
			return m
		}
	}
	s.t.Fatalf("1,000 events without: %s", what)
	return nil
}

func TestLiveTellsTheWholeThenWhatChanged(t *testing.T) {
	s := newStation(t, nil)
	s.board.SetPlan("east-3", plan("east-3"))
	s.board.SetPlan("west-1", plan("west-1"))
	events := s.follow("/live", "")
	if got := events.resp.Header.Get("Content-Type"); got != "text/event-stream" {
		t.Fatalf("content type %q", got)
	}
	first := events.next()
	if events.name != "whole" || len(first.Names) != 2 || len(first.Berths["west-1"].Frame.Lines) != 3 || first.Alarms == nil {
		t.Fatalf("first, %s: %+v", events.name, first)
	}
	s.feed("east-3", "1/tension", 123)
	got := events.until("the reading", func(m *message) bool { return m.Berths["east-3"] != nil })
	east := got.Berths["east-3"]
	if events.name != "change" || got.Names != nil || got.Alarms != nil || got.Berths["west-1"] != nil || east.Frame != nil || len(east.Loads) != 1 || *east.Loads["1"].KN != 123 {
		t.Errorf("%s: %+v", events.name, east)
	}
	s.raise("east-3", 1, detect.OverLimit, "1", "Line 1 is over.")
	got = events.until("the alarm", func(m *message) bool { return m.Alarms != nil })
	if len(got.Alarms.List) != 1 || got.Alarms.List[0].Condition != "over-limit" || got.Alarms.List[0].Recorded != s.clock.Now().UnixMilli() {
		t.Errorf("alarms: %+v", got.Alarms)
	}
	s.board.Close()
	for events.next() != nil {
	}
}

// Who was cut off and comes back is told what it missed, and no more.
func TestLiveResumes(t *testing.T) {
	s := newStation(t, nil)
	s.board.SetPlan("east-3", plan("east-3"))
	s.board.SetPlan("west-1", plan("west-1"))
	s.feed("west-1", "1/tension", 50)
	events := s.follow("/live", "")
	events.next()
	id := events.id
	events.resp.Body.Close()

	s.feed("east-3", "1/tension", 60)
	s.feed("east-3", "1/tension", 70)
	s.raise("east-3", 1, detect.OverLimit, "1", "Line 1 is over.")
	for how, again := range map[string]*stream{"header": s.follow("/live", id), "query": s.follow("/live?after="+id, "")} {
		m := again.next()
		if again.name != "change" || m.Names != nil || m.Berths["west-1"] != nil || *m.Berths["east-3"].Loads["1"].KN != 70 || len(m.Alarms.List) != 1 {
			t.Errorf("by %s, %s: %+v", how, again.name, m)
		}
		again.resp.Body.Close()
	}

	epoch, rest, _ := strings.Cut(id, ".")
	for name, id := range map[string]string{"another run of the server": "x" + epoch + "." + rest, "the future": epoch + ".9999999." + rest[strings.LastIndex(rest, ".")+1:],
		"no mark": "what", "no version": epoch + ".x.y", "": ""} {
		again := s.follow("/live", id)
		if m := again.next(); again.name != "whole" || len(m.Names) != 2 || m.Berths["west-1"] == nil {
			t.Errorf("mark of %s: %s", name, again.name)
		}
		again.resp.Body.Close()
	}

	// Another ship at the berth: what was known of the one before is worth nothing.
	other := plan("west-1")
	other.Ship.Name = "Curlew"
	s.board.SetPlan("west-1", other)
	again := s.follow("/live", id)
	if m := again.next(); again.name != "whole" || m.Berths["west-1"].Frame.Ship != "Curlew" || m.Berths["west-1"].Loads["1"].KN != nil {
		t.Errorf("another ship, %s", again.name)
	}

	// The same ship under other limits.
	stricter := *other
	stricter.Limits.ApproachFraction = 0.6
	s.board.SetPlan("west-1", &stricter)
	again = s.follow("/live", id)
	if m := again.next(); m.Berths["west-1"].Frame == nil || m.Berths["west-1"].Frame.Near != 0.6 {
		t.Errorf("other limits, %s: %+v", again.name, m.Berths["west-1"])
	}
}

// Courses come with the stream: spans of ten seconds that are over, each once.
func TestLiveTellsCourses(t *testing.T) {
	s := newStation(t, nil)
	s.board.SetPlan("east-3", plan("east-3"))
	began := s.clock.Now().Unix() / 10
	for _, kN := range []float64{10, 20, 30} { // at 0, 5 and 10 s
		s.feed("east-3", "1/tension", kN)
		s.clock.Move(5 * time.Second)
	}
	if b := s.look("/").Berths["east-3"]; b.Course != nil {
		t.Errorf("in the page: %v", b.Course)
	}
	events := s.follow("/live?berth=east-3", "")
	got := events.next().Berths["east-3"].Course["1"]
	// By hand: least 10, mean 15, greatest 20 of the span that is over.
	if len(got) != 1 || got[0] != [4]float64{float64(began), 10, 15, 20} {
		t.Errorf("course: %v", got)
	}
	s.clock.Move(5 * time.Second)
	s.feed("east-3", "1/tension", 40) // at 20 s: the second span is over
	m := events.until("the next span", func(m *message) bool { return m.Berths["east-3"] != nil && m.Berths["east-3"].Course != nil })
	if got := m.Berths["east-3"].Course["1"]; len(got) != 1 || got[0] != [4]float64{float64(began + 1), 30, 30, 30} {
		t.Errorf("course: %v", got)
	}
}

// lost is what follows the loss of lines, made by hand.
type lost []*hawserv1.BerthLosses

func (l lost) Losses(string) []*hawserv1.BerthLosses { return l }

func TestWorstLoss(t *testing.T) {
	load := func(line string, kN float64) *hawserv1.LineLoad { return &hawserv1.LineLoad{Line: line, TensionKn: kN} }
	two := []*hawserv1.LossOfLines{
		{Lost: []string{"1"}, Converged: true, Holds: true, Worst: load("2", 440)}, // of 550: 0.80
		{Lost: []string{"2"}, Converged: true, Holds: true, Worst: load("1", 288)}, // of 320: 0.90
	}
	for name, row := range map[string]struct {
		losses []*hawserv1.LossOfLines
		lost   string
		line   string
		share  float64
		adrift bool
	}{
		"worst by share of the limit": {two, "2", "1", 0.9, false},
		"nothing holds":               {append(two, &hawserv1.LossOfLines{Lost: []string{"3"}, Converged: true}), "3", "", 0, true},
		"nothing reckoned":            {nil, "", "", 0, false},
	} {
		s := newStation(t, func(o *web.Options, _ *http.Server) { o.Losses = lost{{Berth: "east-3", Losses: row.losses}} })
		s.board.SetPlan("east-3", plan("east-3"))
		got := s.look("/").Berths["east-3"].Loss
		if strings.Join(got.Lost, ",") != row.lost || got.Line != row.line || got.Share != row.share || got.Adrift != row.adrift {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

// The deadlines a server has for one answer do not cut a stream off.
func TestLiveOutlastsTheServersDeadlines(t *testing.T) {
	s := newStation(t, func(_ *web.Options, server *http.Server) {
		server.ReadTimeout, server.WriteTimeout = 50*time.Millisecond, 50*time.Millisecond
	})
	s.board.SetPlan("east-3", plan("east-3"))
	events := s.follow("/live?berth=east-3", "")
	began := time.Now()
	for n := 1; time.Since(began) < 300*time.Millisecond; n++ { // six times the deadlines
		s.feed("east-3", "1/tension", float64(n))
		if events.next() == nil {
			t.Fatalf("cut off after %v", time.Since(began))
		}
	}
}

func TestOneViewerTooManyIsToldToComeAgain(t *testing.T) {
	s := newStation(t, func(o *web.Options, _ *http.Server) { o.Viewers = 1 })
	first := s.follow("/live", "")
	if first.next() == nil {
		t.Fatal("no event")
	}
	if resp, _ := s.get("/live"); resp.StatusCode != http.StatusServiceUnavailable || resp.Header.Get("Retry-After") == "" {
		t.Errorf("second viewer: %d", resp.StatusCode)
	}
	first.resp.Body.Close()
	for until := time.Now().Add(deadline); ; {
		again := s.follow("/live", "")
		if again.resp.StatusCode == http.StatusOK {
			break
		}
		if time.Now().After(until) {
			t.Fatal("the place was not given back")
		}
	}
}
