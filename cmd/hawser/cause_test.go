package main

import (
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/recording"
	"hawser/ingest/simulate"
	hawserv1 "hawser/proto/hawser/v1"
)

// part writes those readings of a recording that are kept, second by second from
// its first.
func part(t *testing.T, path string, keep func(second int, channel string) bool) string {
	t.Helper()
	r, err := recording.Open(path, recording.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	out := filepath.Join(t.TempDir(), "part.csv")
	f, err := os.Create(out)
	if err != nil {
		t.Fatal(err)
	}
	w := recording.NewWriter(f, recording.WriterOptions{})
	first := int64(0)
	for {
		b, err := r.Next()
		if errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		if first == 0 {
			first = b.CompleteUntil
		}
		second := int((b.CompleteUntil - first) / int64(time.Second))
		b.Series = slices.DeleteFunc(slices.Clone(b.Series), func(s reading.Series) bool { return !keep(second, s.Channel.String()) })
		if err := w.Write(b); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(w.Close(), f.Close()); err != nil {
		t.Fatal(err)
	}
	return out
}

// office is a webhook that notes what it is told of load pins and of silence.
type office struct {
	*httptest.Server
	mu    sync.Mutex
	heard []string
}

func newOffice(t *testing.T) *office {
	o := &office{}
	o.Server = httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var m struct {
			Type string
			Data struct{ Condition, Line string }
		}
		if err := json.NewDecoder(r.Body).Decode(&m); err != nil {
			t.Error(err)
		}
		o.mu.Lock()
		defer o.mu.Unlock()
		if d := m.Data; d.Condition == "sensor-fault" || strings.Contains(d.Condition, "silent") {
			o.heard = append(o.heard, strings.TrimSpace(m.Type+" "+d.Condition+" "+d.Line))
		}
	}))
	t.Cleanup(o.Close)
	return o
}

// hears waits until the office has heard just that, each perhaps twice: what a kill
// left unsaid of its place in the log is told again.
func (o *office) hears(t *testing.T, want ...string) {
	t.Helper()
	waitFor(t, fmt.Sprintf("the office to hear %q", want), func() error {
		o.mu.Lock()
		defer o.mu.Unlock()
		once := []string{}
		for _, h := range o.heard {
			if !slices.Contains(once, h) {
				once = append(once, h)
			}
		}
		if !slices.Equal(once, want) {
			return fmt.Errorf("it has heard %q", o.heard)
		}
		return nil
	})
}

// states counts the alarms of a condition by their state in the lifecycle.
func (s *server) states(condition string) map[hawserv1.AlarmLifecycle]int {
	s.t.Helper()
	list, err := hawserv1.NewAlarmServiceClient(s.dial()).ListAlarms(s.t.Context(), &hawserv1.ListAlarmsRequest{})
	if err != nil {
		s.t.Fatal(err)
	}
	out := map[hawserv1.AlarmLifecycle]int{}
	for _, a := range list.Alarms {
		if a.Condition == condition {
			out[a.Lifecycle]++
		}
	}
	return out
}

// A gateway of eight load pins stops while the weather station goes on; the server
// is killed meanwhile; the gateway comes back with one pin less. The office hears of
// the gateway once, and of the one pin.
func TestGatewayIsOneAlarm(t *testing.T) {
	t.Parallel()
	whole := record(t, "coaster-8", 21, func(s *simulate.Story) { s.Events = nil })
	weather := part(t, whole, func(second int, channel string) bool { return second < 120 && strings.HasPrefix(channel, "wind/") })
	before := part(t, whole, func(second int, channel string) bool { return second < 60 && !strings.HasPrefix(channel, "wind/") })
	after := part(t, whole, func(second int, channel string) bool {
		return second >= 120 && !strings.HasPrefix(channel, "wind/") && channel != "3/tension"
	})
	o := newOffice(t)
	dir := t.TempDir()
	secret := "whsec_" + base64.StdEncoding.EncodeToString([]byte("a secret of over twenty-four bytes"))
	config := fmt.Sprintf("deliver:\n  webhooks:\n    - {name: office, url: %q, secret_file: %q}\n", o.URL, filepath.Join(dir, "secret"))
	for name, text := range map[string]string{"secret": secret, "hawser.yaml": config} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	start := func() *server {
		return startServe(t, dir, "--config", filepath.Join(dir, "hawser.yaml"), "--silent-after", "1h")
	}
	send := func(s *server, source, path string) {
		hawser(t, "send", "--plan", planFile("coaster-8"), "--to", s.grpc, "--source", source, path)
	}
	s := start()
	send(s, "gateway", before)
	send(s, "weather", weather)
	s.tells("pins-silent", "active")
	o.hears(t, "alarm.raised pins-silent")
	if got := s.states("sensor-fault"); got[hawserv1.AlarmLifecycle_ALARM_LIFECYCLE_SUPPRESSED] != 8 || len(got) != 1 {
		t.Errorf("sensor faults by state: %v, want 8 suppressed", got)
	}
	s.kill()
	s = start()
	s.tells("pins-silent", "active")
	send(s, "gateway-again", after) // what it sends begins anew
	s.tells("pins-silent", "cleared")
	o.hears(t, "alarm.raised pins-silent", "alarm.raised sensor-fault 3", "alarm.cleared pins-silent")
	if got := s.states("sensor-fault"); got[hawserv1.AlarmLifecycle_ALARM_LIFECYCLE_ACTIVE_UNACKNOWLEDGED] != 1 || len(got) != 1 {
		t.Errorf("sensor faults by state: %v, want 1 that calls", got)
	}
}
