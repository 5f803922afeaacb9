package main

import (
	"bufio"
	"bytes"
	"context"
	"flag"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"go.uber.org/goleak"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	"hawser/services/waittest"
)

// What the test binary is, if not the tests: hawser, so that tests can start,
// signal and kill the real program without building it apart, or a NATS server on
// the folder that is the value.
const (
	asProgram = "HAWSER_TEST_AS_PROGRAM"
	asNATS    = "HAWSER_TEST_AS_NATS"
	natsKeys  = "HAWSER_TEST_NATS_KEYS"  // of that server, where it has TLS
	natsStore = "HAWSER_TEST_NATS_STORE" // how many bytes that server may hold
	natsPort  = "HAWSER_TEST_NATS_PORT"  // of that server, where it is to be there again
)

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		main()
		return
	}
	if dir := os.Getenv(asNATS); dir != "" {
		if err := runNATS(dir); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	// They mostly wait for what comes as it would on a berth.
	if err := flag.Set("test.parallel", strconv.Itoa(2*runtime.GOMAXPROCS(0))); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	goleak.VerifyTestMain(m)
}

// server is hawser serve in a process of its own.
type server struct {
	t          testing.TB
	cmd        *exec.Cmd
	data       string
	http, grpc string
	conn       *grpc.ClientConn // nil until dial
	stderr     waittest.Buffer
	exited     chan struct{}
	exitErr    error
}

var address = regexp.MustCompile(`(?m)^(pages|gRPC) +(?:https?://)?([][0-9.:]+)/?$`)

// startServe starts a server on a data folder and waits until it is ready.
func startServe(t testing.TB, data string, args ...string) *server {
	t.Helper()
	args = append([]string{"serve", "--data", data, "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"}, args...)
	return startProgram(t, data, args...)
}

// startProgram starts hawser and waits for the addresses it prints and for
// readiness.
func startProgram(t testing.TB, data string, args ...string) *server {
	t.Helper()
	s := startProgramNoWait(t, data, args...)
	waittest.Until(t, "the server to be ready", func() error {
		_, err := s.get("/readyz")
		return err
	})
	return s
}

// startProgramNoWait starts hawser and waits for the addresses only.
func startProgramNoWait(t testing.TB, data string, args ...string) *server {
	t.Helper()
	s := &server{t: t, data: data, exited: make(chan struct{})}
	s.cmd = exec.Command(os.Args[0], args...)
	s.cmd.Env = append(os.Environ(), asProgram+"=1")
	s.cmd.Stderr = &s.stderr
	out, err := s.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := s.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := make(chan string, 64)
	go func() {
		defer close(s.exited)
		sc := bufio.NewScanner(out)
		for sc.Scan() {
			select {
			case lines <- sc.Text():
			default: // only the first lines are looked at
			}
		}
		s.exitErr = s.cmd.Wait()
	}()
	t.Cleanup(s.kill)
	s.readAddresses(lines)
	return s
}

func (s *server) readAddresses(lines <-chan string) {
	s.t.Helper()
	deadline := time.After(30 * time.Second)
	for s.http == "" || s.grpc == "" {
		select {
		case line := <-lines:
			if m := address.FindStringSubmatch(line); m != nil {
				if m[1] == "pages" {
					s.http = m[2]
				} else {
					s.grpc = m[2]
				}
			}
		case <-s.exited:
			s.t.Fatalf("server ended at its start: %v\n%s", s.exitErr, s.stderr.String())
		case <-deadline:
			s.t.Fatalf("server printed no addresses\n%s", s.stderr.String())
		}
	}
}

// kill ends the server at once, as a power switch would end the process.
func (s *server) kill() {
	_ = s.cmd.Process.Kill()
	<-s.exited
}

// stop asks the server to end and returns how long it took.
func (s *server) stop() (time.Duration, error) {
	s.t.Helper()
	began := time.Now()
	if err := s.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		s.t.Fatal(err)
	}
	select {
	case <-s.exited:
		return time.Since(began), s.exitErr
	case <-time.After(30 * time.Second):
		s.t.Fatalf("server did not stop\n%s", s.stderr.String())
		return 0, nil
	}
}

func (s *server) get(path string) (string, error) {
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+s.http+path, nil)
	if err != nil {
		return "", err
	}
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		return "", err
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err == nil && res.StatusCode != http.StatusOK {
		err = fmt.Errorf("GET %s: %s: %s", path, res.Status, bytes.TrimSpace(body))
	}
	return string(body), err
}

// metric is the value of one series as /metrics has it, 0 for none.
func (s *server) metric(series string) float64 {
	s.t.Helper()
	body, err := s.get("/metrics")
	if err != nil {
		return 0
	}
	for line := range strings.Lines(body) {
		if rest, ok := strings.CutPrefix(line, series+" "); ok {
			v, err := strconv.ParseFloat(strings.TrimSpace(rest), 64)
			if err != nil {
				s.t.Fatalf("metric %s: %v", series, err)
			}
			return v
		}
	}
	return 0
}

// watched waits until the berth is detected on up to a journal position.
func (s *server) watched(berth string, position float64) {
	s.t.Helper()
	series := fmt.Sprintf("hawser_watch_journal_position{berth=%q}", berth)
	waittest.Until(s.t, fmt.Sprintf("detection up to position %g", position), func() error {
		if at := s.metric(series); at < position {
			return fmt.Errorf("detection is at %g\n%s", at, s.stderr.String())
		}
		return nil
	})
}

// dial gives the one connection of the test's own goroutine.
func (s *server) dial() *grpc.ClientConn {
	s.t.Helper()
	if s.conn != nil {
		return s.conn
	}
	conn, err := grpc.NewClient(s.grpc, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { _ = conn.Close() })
	s.conn = conn
	return conn
}

// hawser runs a command in this process and wants exit code 0.
func hawser(t *testing.T, args ...string) (stdout, stderr string) {
	t.Helper()
	code, stdout, stderr := hawserCode(t, args...)
	if code != exitOK {
		t.Fatalf("hawser %s: exit code %d\n%s", strings.Join(args, " "), code, stderr)
	}
	return stdout, stderr
}

// startHawser runs a command in this process beside the test; the function it
// returns waits for its end and wants exit code 0.
func startHawser(t *testing.T, args ...string) (ended func()) {
	t.Helper()
	done := make(chan error, 1)
	go func() {
		code, _, stderr := hawserCode(t, args...)
		if code != exitOK {
			done <- fmt.Errorf("exit code %d\n%s", code, stderr)
		}
		close(done)
	}()
	return func() {
		t.Helper()
		if err := <-done; err != nil {
			t.Fatalf("hawser %s: %v", strings.Join(args, " "), err)
		}
	}
}

// hawserCode runs a command in this process.
func hawserCode(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs waittest.Buffer
	code = run(t.Context(), args, streams{in: strings.NewReader(""), out: &out, err: &errs})
	return code, out.String(), errs.String()
}

// planFile is one of the shared plans.
func planFile(name string) string {
	return filepath.Join("..", "..", "testdata", "plans", name+".yaml")
}
