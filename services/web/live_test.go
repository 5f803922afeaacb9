package web_test

import (
	"bufio"
	"net/http"
	"strings"
	"testing"
	"time"

	"hawser/detect"
	"hawser/services/web"
)

// stream reads server-sent events.
type stream struct {
	t    *testing.T
	resp *http.Response
	in   *bufio.Scanner
}

func (s *station) follow(path string) *stream {
	s.t.Helper()
	req, err := http.NewRequestWithContext(s.t.Context(), http.MethodGet, s.server.URL+path, nil)
	must(s.t, err)
	resp, err := client().Do(req)
	must(s.t, err)
	s.t.Cleanup(func() { resp.Body.Close() })
	in := bufio.NewScanner(resp.Body)
	in.Buffer(nil, 1<<20)
	return &stream{t: s.t, resp: resp, in: in}
}

// next gives the next event's data, "" at the end.
func (s *stream) next() string {
	var data []string
	for s.in.Scan() {
		line := s.in.Text()
		switch {
		case line == "" && data != nil:
			return strings.Join(data, "\n")
		case line == "" || line == "event: picture":
		case strings.HasPrefix(line, "data: "):
			data = append(data, line[len("data: "):])
		default:
			s.t.Errorf("line that is no event: %q", line)
		}
	}
	return ""
}

// until reads events until one says it.
func (s *stream) until(want string) {
	s.t.Helper()
	for range 1000 {
		data := s.next()
		if data == "" {
			s.t.Fatalf("the stream ended before it said %q", want)
		}
		if strings.Contains(text(data), want) {
			return
		}
	}
	s.t.Fatalf("1,000 events do not say %q", want)
}

func TestLiveFollowsReadingsAndAlarms(t *testing.T) {
	s := newStation(t, nil)
	s.board.SetPlan("east-3", plan("east-3"))
	events := s.follow("/live")
	if got := events.resp.Header.Get("Content-Type"); got != "text/event-stream" {
		t.Fatalf("content type %q", got)
	}
	first := events.next()
	_, page := s.get("/")
	if squeezed := strings.Join(strings.Fields(text(page)), " "); !strings.Contains(squeezed, strings.TrimSpace(text(first))) {
		t.Errorf("the first event is not what the page has:\n%s\n%s", text(first), squeezed)
	}
	s.feed("east-3", "1/tension", 123)
	events.until("1 123 19 %")
	s.raise("east-3", 1, detect.OverLimit, "1", "Line 1 is over.")
	events.until("1 active alarm, 1 not taken on") // by the heartbeat at the latest
	s.board.Close()
	for events.next() != "" {
	}
}

// The deadlines a server has for one answer do not cut a stream off.
func TestLiveOutlastsTheServersDeadlines(t *testing.T) {
	s := newStation(t, func(_ *web.Options, server *http.Server) {
		server.ReadTimeout, server.WriteTimeout = 50*time.Millisecond, 50*time.Millisecond
	})
	s.board.SetPlan("east-3", plan("east-3"))
	events := s.follow("/live?berth=east-3")
	began := time.Now()
	for n := 1; time.Since(began) < 300*time.Millisecond; n++ { // six times the deadlines
		s.feed("east-3", "1/tension", float64(n))
		if events.next() == "" {
			t.Fatalf("cut off after %v", time.Since(began))
		}
	}
}

func TestOneViewerTooManyIsToldToComeAgain(t *testing.T) {
	s := newStation(t, func(o *web.Options, _ *http.Server) { o.Viewers = 1 })
	first := s.follow("/live")
	if first.next() == "" {
		t.Fatal("no event")
	}
	if resp, _ := s.get("/live"); resp.StatusCode != http.StatusServiceUnavailable || resp.Header.Get("Retry-After") == "" {
		t.Errorf("second viewer: %d", resp.StatusCode)
	}
	first.resp.Body.Close()
	for until := time.Now().Add(deadline); ; {
		again := s.follow("/live")
		if again.resp.StatusCode == http.StatusOK {
			break
		}
		if time.Now().After(until) {
			t.Fatal("the place was not given back")
		}
	}
}
