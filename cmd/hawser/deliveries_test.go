package main

import (
	"encoding/base64"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/waittest"
)

// A webhook hears of every record of the alarm log but of what is suppressed, each once by its identifier,
// although the server is killed while it has much to tell, and the receiver is
// away half of the time.
func TestWebhookHearsAllThoughTheServerIsKilled(t *testing.T) {
	t.Parallel()
	secret := []byte("a secret of over twenty-four bytes")
	checker, err := standardwebhooks.NewWebhookRaw(secret)
	if err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	bodies, calls := map[string]string{}, 0 // by webhook-id
	receiver := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err == nil {
			err = checker.Verify(body, r.Header)
		}
		mu.Lock()
		defer mu.Unlock()
		if calls++; err != nil || calls%2 == 0 {
			w.WriteHeader(http.StatusServiceUnavailable)
			return
		}
		bodies[r.Header.Get(standardwebhooks.HeaderWebhookID)] = string(body)
	}))
	defer receiver.Close()

	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	config := write("hawser.yaml", fmt.Sprintf("deliver:\n  webhooks:\n    - {name: office, url: %q, secret_file: %q}\n",
		receiver.URL, write("secret", "whsec_"+base64.StdEncoding.EncodeToString(secret))))

	path := record(t, "tanker-12", 9, nil)
	_, batches := inRecording(t, path)
	s := startServe(t, dir, "--config", config)
	hawser(t, "send", "--plan", planFile("tanker-12"), "--to", s.grpc, path)
	s.watched("north-jetty-1", float64(batches))
	s.kill()
	s = startServe(t, dir, "--config", config)
	waittest.Until(t, "every record to be heard of", func() error {
		mu.Lock()
		defer mu.Unlock()
		return s.heardOf(bodies)
	})
}

// heardOf compares what a webhook took with the alarm log.
func (s *server) heardOf(bodies map[string]string) error {
	client := hawserv1.NewAlarmServiceClient(s.dial())
	list, err := client.ListAlarms(s.t.Context(), &hawserv1.ListAlarmsRequest{})
	if err != nil {
		return err
	}
	stream, err := client.WatchAlarms(s.t.Context(), &hawserv1.WatchAlarmsRequest{})
	if err != nil {
		return err
	}
	n := 0
	for at := uint64(0); at < list.Position; {
		res, err := stream.Recv()
		if err != nil {
			return err
		}
		at = res.Record.Position
		if res.Record.Suppressed {
			continue
		}
		n++
		if body := bodies["alarms-"+strconv.FormatUint(at, 10)]; !strings.Contains(body, res.Record.AlarmId) {
			return fmt.Errorf("record %d, alarm %s, was told as %q", at, res.Record.AlarmId, body)
		}
	}
	if n == 0 || n != len(bodies) {
		return fmt.Errorf("%d records in the log, %d heard of", n, len(bodies))
	}
	return nil
}
