package main

import (
	"cmp"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
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
	"hawser/services/waittest"
)

// part writes those readings of a recording that are kept, second by second from
// its first.
func part(t *testing.T, path string, keep func(second int, channel string) bool) string {
	t.Helper()
	out := filepath.Join(t.TempDir(), "part.csv")
	f, err := os.Create(out)
	if err != nil {
		t.Fatal(err)
	}
	w := recording.NewWriter(f, recording.WriterOptions{})
	first := int64(0)
	for b := range blocksOf(t, path) {
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
			Data struct{ Condition, Line, Source string }
		}
		if err := json.NewDecoder(r.Body).Decode(&m); err != nil {
			t.Error(err)
		}
		o.mu.Lock()
		defer o.mu.Unlock()
		if d := m.Data; d.Condition == "sensor-fault" || strings.Contains(d.Condition, "silent") {
			o.heard = append(o.heard, strings.TrimSpace(m.Type+" "+d.Condition+" "+cmp.Or(d.Line, d.Source)))
		}
	}))
	t.Cleanup(o.Close)
	return o
}

// config writes a settings file by which a server tells the office.
func (o *office) config(t *testing.T, dir string) string {
	t.Helper()
	path := filepath.Join(dir, "hawser.yaml")
	secret := "whsec_" + base64.StdEncoding.EncodeToString([]byte("a secret of over twenty-four bytes"))
	text := fmt.Sprintf("deliver:\n  webhooks:\n    - {name: office, url: %q, secret_file: %q}\n", o.URL, filepath.Join(dir, "secret"))
	if err := errors.Join(os.WriteFile(filepath.Join(dir, "secret"), []byte(secret), 0o600), os.WriteFile(path, []byte(text), 0o600)); err != nil {
		t.Fatal(err)
	}
	return path
}

// hears waits until the office has heard just that, each perhaps twice: what a kill
// left unsaid of its place in the log is told again.
func (o *office) hears(t *testing.T, want ...string) {
	t.Helper()
	waittest.Until(t, fmt.Sprintf("the office to hear %q", want), func() error {
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

// faults waits until the berth's sensor faults are so many that call, and so many
// that are suppressed under an alarm that does.
func (s *server) faults(calling, suppressed int) {
	s.t.Helper()
	waittest.Until(s.t, fmt.Sprintf("%d sensor faults that call and %d under another alarm", calling, suppressed), func() error {
		list, err := hawserv1.NewAlarmServiceClient(s.dial()).ListAlarms(s.t.Context(), &hawserv1.ListAlarmsRequest{})
		if err != nil {
			return err
		}
		calls := map[string]bool{}
		for _, a := range list.Alarms {
			calls[a.AlarmId] = a.Lifecycle == hawserv1.AlarmLifecycle_ALARM_LIFECYCLE_ACTIVE_UNACKNOWLEDGED
		}
		called, under := 0, 0
		for _, a := range list.Alarms {
			switch {
			case a.Condition != "sensor-fault":
			case calls[a.AlarmId]:
				called++
			case a.Lifecycle == hawserv1.AlarmLifecycle_ALARM_LIFECYCLE_SUPPRESSED && calls[a.Under]:
				under++
			}
		}
		if called != calling || under != suppressed {
			return fmt.Errorf("%d call, %d are under another", called, under)
		}
		return nil
	})
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
	config := o.config(t, dir)
	start := func() *server {
		return startServe(t, dir, "--config", config, "--silent-after", "1h")
	}
	send := func(s *server, source, path string) {
		hawser(t, "send", "--plan", planFile("coaster-8"), "--to", s.grpc, "--source", source, path)
	}
	s := start()
	send(s, "gateway", before)
	send(s, "weather", weather)
	s.tells("pins-silent", "active")
	o.hears(t, "alarm.raised pins-silent gateway")
	s.faults(0, 8)
	s.kill()
	s = start()
	s.tells("pins-silent", "active")
	send(s, "gateway-again", after) // what it sends begins anew
	s.tells("pins-silent", "cleared")
	o.hears(t, "alarm.raised pins-silent gateway", "alarm.raised sensor-fault 3", "alarm.cleared pins-silent gateway")
	s.faults(1, 0)
}

// startSender runs hawser send in a process of its own, as a gateway; the function it
// returns kills it.
func startSender(t *testing.T, args ...string) (kill func()) {
	t.Helper()
	cmd := exec.Command(os.Args[0], append([]string{"send"}, args...)...)
	cmd.Env = append(os.Environ(), asProgram+"=1")
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	kill = sync.OnceFunc(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	t.Cleanup(kill)
	return kill
}

// Three gateways of two and three load pins each and a weather station send to one
// berth; one is killed, then the server, then another gateway while the server is
// back. Each of the two is one alarm, of its own pins and no others.
func TestEachGatewayIsOneAlarm(t *testing.T) {
	t.Parallel()
	whole := record(t, "coaster-8", 23, func(s *simulate.Story) { s.Events = nil })
	o := newOffice(t)
	dir := t.TempDir()
	s := startServe(t, dir, "--config", o.config(t, dir))
	kill := map[string]func(){}
	for source, channels := range map[string][]string{
		"bow": {"1/", "2/", "3/"}, "spring": {"4/", "5/"}, "stern": {"6/", "7/", "8/"}, "weather": {"wind/"},
	} {
		own := part(t, whole, func(_ int, channel string) bool {
			return slices.ContainsFunc(channels, func(begins string) bool { return strings.HasPrefix(channel, begins) })
		})
		kill[source] = startSender(t, "--plan", planFile("coaster-8"), "--to", s.grpc, "--source", source, "--pace", "1", "--starting", "now", own)
	}
	waittest.Until(t, "all eight load pins to be heard", func() error {
		list, err := hawserv1.NewLiveServiceClient(s.dial()).ListBerths(t.Context(), &hawserv1.ListBerthsRequest{})
		if err != nil {
			return err
		}
		good := 0
		for _, b := range list.Berths {
			for _, l := range b.Lines {
				if l.Sensor == hawserv1.SensorState_SENSOR_STATE_GOOD {
					good++
				}
			}
		}
		if good != 8 {
			return fmt.Errorf("%d are", good)
		}
		return nil
	})
	kill["spring"]()
	o.hears(t, "alarm.raised pins-silent spring")
	s.faults(0, 2)
	s.kill()
	time.Sleep(4 * time.Second) // until those who are back wait for those who are not
	s = startServe(t, dir, "--config", filepath.Join(dir, "hawser.yaml"), "--grpc", s.grpc)
	kill["stern"]()
	o.hears(t, "alarm.raised pins-silent spring", "alarm.raised pins-silent stern")
	s.faults(0, 5)
}

// A gateway whose clock is set back by ten minutes goes on sending, and nothing of it
// is watched: that is one alarm until it sends no more, and no berth that is silent.
func TestClockSetBackIsOneAlarm(t *testing.T) {
	t.Parallel()
	whole := record(t, "coaster-8", 22, func(s *simulate.Story) { s.Events = nil })
	short := part(t, whole, func(second int, _ string) bool { return second < 16 })
	s := startServe(t, t.TempDir())
	now := time.Now().UTC()
	send := func(source string, starting time.Time, more ...string) {
		t.Helper()
		hawser(t, append([]string{"send", "--plan", planFile("coaster-8"), "--to", s.grpc, "--source", source, "--starting", starting.Format(time.RFC3339), short}, more...)...)
	}
	send("gateway", now.Add(-16*time.Second))
	send("gateway-set-back", now.Add(-10*time.Minute), "--pace", "1")
	s.tells("clock-back", "active")
	if got := s.ofItself("berth-silent"); got != nil {
		t.Errorf("berth-silent is %q", got)
	}
	s.tells("clock-back", "cleared")
}
