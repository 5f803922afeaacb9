package realserver_test

import (
	"context"
	"encoding/json"
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

	"hawser/detect"
	"hawser/services/deliver"
	"hawser/services/waittest"
)

// pager is where the Alertmanager sends its notices.
type pager struct {
	*httptest.Server
	mu   sync.Mutex
	said []string
}

func newPager(t *testing.T) *pager {
	p := &pager{}
	p.Server = httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var m struct {
			Alerts []struct {
				Status              string
				Labels, Annotations map[string]string
			}
		}
		body, _ := io.ReadAll(r.Body)
		if err := json.Unmarshal(body, &m); err != nil {
			t.Errorf("%v: %s", err, body)
		}
		p.mu.Lock()
		defer p.mu.Unlock()
		for _, a := range m.Alerts {
			// What is over is not told with what there was to do about it.
			if want := a.Labels["line"] + ": no more."; a.Status == "resolved" && a.Labels["line"] == "5" && !strings.HasSuffix(a.Annotations["description"], want) {
				t.Errorf("resolved: %q", a.Annotations["description"])
			}
			p.said = append(p.said, a.Status+" "+a.Labels["alertname"]+" "+a.Labels["line"]+" "+a.Labels["priority"])
		}
	}))
	t.Cleanup(p.Close)
	return p
}

func (p *pager) heard(what string) func() error {
	return func() error {
		p.mu.Lock()
		defer p.mu.Unlock()
		if !slices.Contains(p.said, what) {
			return fmt.Errorf("heard %q, want %q among them", p.said, what)
		}
		return nil
	}
}

const alertmanagerConfig = `
route:
  receiver: pager
  group_by: [alertname, berth, line]
  group_wait: 0s
  group_interval: 1s
receivers:
  - name: pager
    webhook_configs: [{url: %q, send_resolved: true}]
`

// An alarm goes through a real Alertmanager to who is paged, stays active by being
// told again, survives the Alertmanager's own restart, and resolves.
func TestAlertmanager(t *testing.T) {
	dir, at, p, l := t.TempDir(), freeAddress(t), newPager(t), openLog(t)
	config := filepath.Join(dir, "alertmanager.yml")
	if err := os.WriteFile(config, fmt.Appendf(nil, alertmanagerConfig, p.URL), 0o600); err != nil {
		t.Fatal(err)
	}
	serve := func() func() {
		// The state is kept nowhere: after a restart only what is told again is known.
		return run(t, dir, "prometheus-alertmanager", "--config.file="+config, "--storage.path="+t.TempDir(),
			"--web.listen-address="+at, "--cluster.listen-address=")
	}
	change(t, l, 1, detect.LineParted, "5", true) // before the Alertmanager is there
	start(t, l, func(o *deliver.Options) {
		o.Alertmanagers = []deliver.Alertmanager{{Name: "am", URL: "http://" + at, Every: 200 * time.Millisecond}}
	})
	kill := serve()
	waittest.Until(t, "what was raised before", p.heard("firing line-parted 5 emergency"))
	change(t, l, 2, detect.OverLimit, "6", true)
	waittest.Until(t, "what is raised now", p.heard("firing over-limit 6 alarm"))

	get := func() (alerts []struct {
		Labels, Annotations map[string]string
		GeneratorURL        string
	}, err error) {
		resp, err := http.Get("http://" + at + "/api/v2/alerts")
		if err != nil {
			return nil, err
		}
		defer resp.Body.Close()
		return alerts, json.NewDecoder(resp.Body).Decode(&alerts)
	}
	active := func(lines ...string) func() error {
		return func() error {
			alerts, err := get()
			if err != nil {
				return err
			}
			var got []string
			for _, a := range alerts {
				got = append(got, a.Labels["line"])
				if a.Annotations["description"] != "Line "+a.Labels["line"]+": something to act on." || a.GeneratorURL != "http://hawser.example/" ||
					a.Labels["berth"] != "east-3" || !strings.Contains(a.Annotations["caution"], "mooring deck is dangerous") {
					t.Errorf("alert %+v", a)
				}
			}
			slices.Sort(got)
			if !slices.Equal(got, lines) {
				return fmt.Errorf("active on lines %q, want %q", got, lines)
			}
			return nil
		}
	}
	waittest.Until(t, "both active", active("5", "6"))
	kill()
	change(t, l, 3, detect.OverLimit, "6", false) // while the Alertmanager is away
	serve()
	waittest.Until(t, "only the one that is left, after the restart", active("5"))
	change(t, l, 4, detect.LineParted, "5", false)
	waittest.Until(t, "its end", p.heard("resolved line-parted 5 emergency"))
	waittest.Until(t, "nothing active", active())
	http.DefaultClient.CloseIdleConnections()
}

// An alarm no longer told resolves by itself: a server that is gone for good does
// not leave a pager ringing.
func TestAlertmanagerLetsGo(t *testing.T) {
	dir, at, p, l := t.TempDir(), freeAddress(t), newPager(t), openLog(t)
	config := filepath.Join(dir, "alertmanager.yml")
	if err := os.WriteFile(config, fmt.Appendf(nil, alertmanagerConfig, p.URL), 0o600); err != nil {
		t.Fatal(err)
	}
	run(t, dir, "prometheus-alertmanager", "--config.file="+config, "--storage.path="+dir, "--web.listen-address="+at, "--cluster.listen-address=")
	change(t, l, 1, detect.SnapLoad, "2", true)
	stop := start(t, l, func(o *deliver.Options) {
		o.Alertmanagers = []deliver.Alertmanager{{Name: "am", URL: "http://" + at, Every: 300 * time.Millisecond}}
	})
	waittest.Until(t, "the alarm", p.heard("firing snap-load 2 alarm"))
	stop()
	waittest.Until(t, "its end", p.heard("resolved snap-load 2 alarm"))
}

// Two gateways of one berth that fall silent are two alerts, each by the gateway's
// name: by the same labels they would be one.
func TestAlertmanagerTellsGatewaysApart(t *testing.T) {
	dir, at, p := t.TempDir(), freeAddress(t), newPager(t)
	l := openLogWith(t, func(string) map[string]string {
		return map[string]string{"1": "bow", "2": "bow", "3": "stern", "4": "stern", "5": "spring", "6": "spring"}
	})
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- l.KeepTime(ctx) }()
	t.Cleanup(func() { cancel(); <-done })
	config := filepath.Join(dir, "alertmanager.yml")
	if err := os.WriteFile(config, fmt.Appendf(nil, alertmanagerConfig, p.URL), 0o600); err != nil {
		t.Fatal(err)
	}
	run(t, dir, "prometheus-alertmanager", "--config.file="+config, "--storage.path="+dir, "--web.listen-address="+at, "--cluster.listen-address=")
	start(t, l, func(o *deliver.Options) {
		o.Alertmanagers = []deliver.Alertmanager{{Name: "am", URL: "http://" + at, Every: 200 * time.Millisecond}}
	})
	for i, line := range []string{"1", "2", "3", "4"} {
		onset := time.Now().Add(-10*time.Second - time.Duration(i/2)*20*time.Second)
		if err := l.Apply(t.Context(), "east-3", uint64(i+1), []detect.Change{{Time: time.Now().UnixNano(), Onset: onset.UnixNano(),
			Condition: detect.SensorFault, By: detect.Silence, Raised: true, Line: line}}); err != nil {
			t.Fatal(err)
		}
	}
	waittest.Until(t, "an alert of each gateway", func() error {
		resp, err := http.Get("http://" + at + "/api/v2/alerts")
		if err != nil {
			return err
		}
		defer resp.Body.Close()
		var alerts []struct{ Labels map[string]string }
		if err := json.NewDecoder(resp.Body).Decode(&alerts); err != nil {
			return err
		}
		var got []string
		for _, a := range alerts {
			got = append(got, a.Labels["alertname"]+" "+a.Labels["source"])
		}
		slices.Sort(got)
		if !slices.Equal(got, []string{"pins-silent bow", "pins-silent stern"}) {
			return fmt.Errorf("active: %q", got)
		}
		return nil
	})
	http.DefaultClient.CloseIdleConnections()
}
