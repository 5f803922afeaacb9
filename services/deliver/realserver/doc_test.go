// Package realserver_test delivers alarms to a real Prometheus Alertmanager and a
// real MQTT broker, Mosquitto. It runs when HAWSER_REAL_SERVERS is 1, and then a
// server that cannot be had is a failure.
package realserver_test

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/goleak"

	"hawser/detect"
	"hawser/ingest/journal"
	"hawser/services/alarm"
	"hawser/services/deliver"
)

func TestMain(m *testing.M) {
	if os.Getenv("HAWSER_REAL_SERVERS") != "1" {
		fmt.Println("tests against real servers run with HAWSER_REAL_SERVERS=1")
		return
	}
	goleak.VerifyTestMain(m)
}

// freeAddress is a loopback port that was free just now: the server keeps it over
// restarts.
func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// run starts a program and gives what kills it.
func run(t *testing.T, dir, program string, args ...string) (kill func()) {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil {
		t.Fatal(err)
	}
	log, err := os.OpenFile(filepath.Join(dir, "log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	cmd := exec.Command(path, args...)
	cmd.Stdout, cmd.Stderr = log, log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	kill = func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	}
	t.Cleanup(kill)
	return kill
}

// noPositions is for destinations that keep none.
type noPositions struct{}

func (noPositions) SavePosition(context.Context, string, uint64) error { return nil }
func (noPositions) LoadPosition(context.Context, string) (uint64, bool, error) {
	return 0, false, nil
}

// openLog is an alarm log on a real journal.
func openLog(t *testing.T) *alarm.Log { return openLogWith(t, nil) }

func openLogWith(t *testing.T, pins func(string) map[string]string) *alarm.Log {
	t.Helper()
	j, err := journal.Open(t.Context(), journal.Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	l, err := alarm.Open(t.Context(), alarm.Options{Records: j, Logger: slog.New(slog.DiscardHandler), Registerer: prometheus.NewRegistry(), Pins: pins})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _, _ = l.Close(), j.Close() })
	return l
}

// change raises or clears at berth east-3; position rises from call to call.
func change(t *testing.T, l *alarm.Log, position uint64, c detect.Condition, line string, raised bool) {
	t.Helper()
	detail := "Line " + line + ": something to act on."
	if !raised {
		detail = "Line " + line + ": no more."
	}
	err := l.Apply(t.Context(), "east-3", position, []detect.Change{{
		Time: time.Now().UnixNano(), Condition: c, Raised: raised, Line: line, Value: 612, Unit: "kN",
		Detail: detail,
	}})
	if err != nil {
		t.Fatal(err)
	}
}

func start(t *testing.T, l *alarm.Log, set func(*deliver.Options)) (stop func()) {
	t.Helper()
	o := deliver.Options{
		Log: l, Positions: noPositions{}, ExternalURL: "http://hawser.example/",
		Logger: slog.New(slog.DiscardHandler), Registerer: prometheus.NewRegistry(),
		RetryMin: 5 * time.Millisecond, RetryMax: 100 * time.Millisecond,
	}
	set(&o)
	d, err := deliver.New(o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = d.Run(ctx)
	}()
	stop = func() { cancel(); <-done }
	t.Cleanup(stop)
	return stop
}
