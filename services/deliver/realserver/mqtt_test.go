package realserver_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hawser/detect"
	"hawser/services/alarm"
	"hawser/services/deliver"
	"hawser/services/waittest"
)

// retained is what the broker holds under hawser/, by topic, as Mosquitto's own
// client sees it who has just connected.
func retained(ctx context.Context, at string) (map[string]string, error) {
	host, port, err := net.SplitHostPort(at)
	if err != nil {
		return nil, err
	}
	cmd := exec.CommandContext(ctx, "mosquitto_sub", "-h", host, "-p", port, "-u", "siren", "-P", "word", "-t", "hawser/#", "--retained-only", "-W", "1", "-F", "%t %p")
	var problem bytes.Buffer
	cmd.Stderr = &problem
	out, err := cmd.Output()
	var exit *exec.ExitError
	if err != nil && (!errors.As(err, &exit) || exit.ExitCode() != 27) { // 27: the time given is over
		return nil, fmt.Errorf("%w: %s", err, problem.String())
	}
	got := map[string]string{}
	for line := range strings.Lines(string(out)) {
		topic, payload, _ := strings.Cut(strings.TrimSpace(line), " ")
		got[topic] = payload
	}
	return got, nil
}

// A siren that connects at any time knows what is active and whether the watch is
// alive, over restarts of the broker, without its memory, and of the server.
func TestMQTT(t *testing.T) {
	dir, at, l := t.TempDir(), freeAddress(t), openLog(t)
	_, port, err := net.SplitHostPort(at)
	if err != nil {
		t.Fatal(err)
	}
	passwords, config := filepath.Join(dir, "passwords"), filepath.Join(dir, "mosquitto.conf")
	if out, err := exec.Command("mosquitto_passwd", "-c", "-b", passwords, "siren", "word").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if err := os.Chmod(passwords, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(config, fmt.Appendf(nil, "listener %s 127.0.0.1\npassword_file %s\nuser root\n", port, passwords), 0o600); err != nil {
		t.Fatal(err)
	}
	serve := func() func() { return run(t, dir, "mosquitto", "-c", config) }
	deliveries := func(o *deliver.Options) {
		o.Brokers = []deliver.Broker{{Name: "sirens", URL: "mqtt://" + at, Username: "siren", Password: "word", Every: 200 * time.Millisecond}}
	}
	holds := func(want map[string]string) func() error {
		return func() error {
			got, err := retained(t.Context(), at)
			if err != nil {
				return err
			}
			if len(got) != len(want) {
				return fmt.Errorf("broker holds %q, want %q", got, want)
			}
			for topic, part := range want {
				if !strings.Contains(got[topic], part) {
					return fmt.Errorf("%s is %q, want %q in it", topic, got[topic], part)
				}
			}
			return nil
		}
	}

	change(t, l, 1, detect.LineParted, "5", true) // before the broker is there
	stop := start(t, l, deliveries)
	kill := serve()
	parted := map[string]string{
		"hawser/watch": "up 20", "hawser/east-3/alarm/line-parted/5": `"detail":"Line 5: something to act on."`,
		"hawser/east-3/state": `{"worst":"emergency","active":1,"unacknowledged":1}`,
	}
	waittest.Until(t, "the alarm", holds(parted))
	kill()
	kill = serve()
	waittest.Until(t, "the alarm, told to a broker that had forgotten it", holds(parted))

	alarms, _ := l.List("", false)
	if _, err := l.Acknowledge(t.Context(), alarms[0].ID, alarm.Person{By: "mate"}, ""); err != nil {
		t.Fatal(err)
	}
	parted["hawser/east-3/state"] = `{"worst":"emergency","active":1,"unacknowledged":0}`
	waittest.Until(t, "the acknowledgement", holds(parted))

	stop()
	parted["hawser/watch"] = "down"
	waittest.Until(t, "that the watch has stopped", holds(parted))
	change(t, l, 2, detect.LineParted, "5", false) // while nobody delivers
	start(t, l, deliveries)
	over := map[string]string{"hawser/watch": "up 20", "hawser/east-3/state": `{"worst":"none","active":0,"unacknowledged":0}`}
	waittest.Until(t, "the end", holds(over))
	got, err := retained(t.Context(), at)
	if err != nil || !json.Valid([]byte(got["hawser/east-3/state"])) {
		t.Errorf("state %q, %v", got["hawser/east-3/state"], err)
	}
	kill()
}
