// Package deployed_test runs hawser with the servers that it is deployed beside,
// as the files in deploy and dashboards have it. It runs when HAWSER_REAL_SERVERS
// is 1, and then a server that cannot be had is a failure.
package deployed_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"hawser/detect/mooring"
	"hawser/ingest/planfile"
	"hawser/services/waittest"
)

var (
	hawser string // the program, built for these tests
	root   = filepath.Join("..", "..", "..")
)

func TestMain(m *testing.M) {
	if os.Getenv("HAWSER_REAL_SERVERS") != "1" {
		fmt.Println("tests with the servers hawser is deployed beside run with HAWSER_REAL_SERVERS=1")
		return
	}
	dir, err := os.MkdirTemp("", "hawser-deployed-")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	hawser = filepath.Join(dir, "hawser")
	if err := buildAsInContainer(hawser); err != nil {
		fmt.Fprintln(os.Stderr, "build:", err)
		os.Exit(1)
	}
	code := m.Run()
	_ = os.RemoveAll(dir)
	os.Exit(code)
}

// buildAsInContainer builds the program with the command of the container file,
// which is the one line that runs the compiler.
func buildAsInContainer(to string) error {
	data, err := os.ReadFile(filepath.Join(root, "deploy", "container", "Containerfile"))
	if err != nil {
		return err
	}
	m := regexp.MustCompile(`(?m)^RUN (CGO_ENABLED=0 go build .* )-o /out/hawser (\./cmd/hawser)$`).FindSubmatch(data)
	if m == nil {
		return errors.New("the container file has another build command")
	}
	build := exec.Command("sh", "-c", string(m[1])+`-o "$OUT" `+string(m[2]))
	build.Dir, build.Env = root, append(os.Environ(), "OUT="+to)
	if out, err := build.CombinedOutput(); err != nil {
		return fmt.Errorf("%w\n%s", err, out)
	}
	return nil
}

func planPath(name string) string {
	return filepath.Join(root, "testdata", "plans", name+".yaml")
}

func loadPlan(t *testing.T, name string) *mooring.Plan {
	t.Helper()
	p, _, err := planfile.Load(planPath(name))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// process is a program that runs beside the test.
type process struct {
	t      *testing.T
	cmd    *exec.Cmd
	out    waittest.Buffer
	exited chan struct{}
	err    error // once it has exited
}

// start starts a program that the end of the test kills, if it still runs.
func start(t *testing.T, path string, args ...string) *process {
	t.Helper()
	return startWith(t, os.Environ(), path, args...)
}

func startWith(t *testing.T, env []string, path string, args ...string) *process {
	t.Helper()
	p := &process{t: t, cmd: exec.Command(path, args...), exited: make(chan struct{})}
	p.cmd.Env = env
	p.cmd.Stdout, p.cmd.Stderr = &p.out, &p.out
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		p.err = p.cmd.Wait()
		close(p.exited)
	}()
	t.Cleanup(p.kill)
	return p
}

// kill gives it no say.
func (p *process) kill() {
	_ = p.cmd.Process.Kill()
	<-p.exited
}

// stop asks it to end, and wants it to in order.
func (p *process) stop() {
	p.t.Helper()
	_ = p.cmd.Process.Signal(syscall.SIGTERM)
	if p.wait(); p.err != nil {
		p.t.Errorf("%s: %v\n%s", p.cmd.Path, p.err, p.out.String())
	}
}

// wait waits for its end.
func (p *process) wait() {
	p.t.Helper()
	select {
	case <-p.exited:
	case <-time.After(time.Minute):
		p.t.Fatalf("%s does not end\n%s", p.cmd.Path, p.out.String())
	}
}

// station is a running hawser serve.
type station struct {
	*process
	url, pages, grpc string
	client           *client
}

var address = regexp.MustCompile(`(?m)^(pages|gRPC) +((?:https?://)?([][0-9.:]+))/?$`)

// serve starts hawser serve and waits until c finds it ready.
func serve(t *testing.T, c *client, args ...string) *station {
	t.Helper()
	s := startServing(t, c, args...)
	s.ready()
	return s
}

func startServing(t *testing.T, c *client, args ...string) *station {
	t.Helper()
	args = append([]string{"serve", "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"}, args...)
	return &station{process: start(t, hawser, args...), client: c}
}

func (s *station) ready() {
	t := s.t
	t.Helper()
	waittest.Until(t, "the addresses of hawser", func() error {
		for _, m := range address.FindAllStringSubmatch(s.out.String(), -1) {
			if m[1] == "pages" {
				s.url, s.pages = m[2], m[3]
			} else {
				s.grpc = m[3]
			}
		}
		select {
		case <-s.exited:
			t.Fatalf("hawser ended: %v\n%s", s.err, s.out.String())
		default:
		}
		if s.pages == "" || s.grpc == "" {
			return errors.New("not printed yet")
		}
		return nil
	})
	waittest.Until(t, "hawser to be ready", func() error {
		_, err := s.client.get(s.url + "/readyz")
		return err
	})
}

// metrics gives the values of a metric's series by their labels as /metrics has them.
func (s *station) metrics(name string) (map[string]float64, error) {
	body, err := s.client.get(s.url + "/metrics")
	if err != nil {
		return nil, err
	}
	values := map[string]float64{}
	for line := range strings.Lines(string(body)) {
		series, text, _ := strings.Cut(strings.TrimSpace(line), " ")
		labels, ok := strings.CutPrefix(series, name)
		if !ok || labels != "" && labels[0] != '{' {
			continue
		}
		if values[labels], err = strconv.ParseFloat(text, 64); err != nil {
			return nil, fmt.Errorf("metric %s: %w", series, err)
		}
	}
	return values, nil
}

// client asks servers, with a token where it has one.
type client struct {
	http  http.Client
	token string
}

// inClear is a client of servers that ask nobody who he is.
func inClear() *client { return &client{} }

// get wants an answer of 200.
func (c *client) get(url string) ([]byte, error) {
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return nil, err
	}
	return c.do(req)
}

func (c *client) do(req *http.Request) ([]byte, error) {
	if c.token != "" {
		req.Header.Set("Authorization", "Bearer "+c.token)
	}
	res, err := c.http.Do(req)
	if err != nil {
		return nil, err
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err == nil && res.StatusCode != http.StatusOK {
		err = fmt.Errorf("%s %s: %s: %s", req.Method, req.URL.Path, res.Status, bytes.TrimSpace(body))
	}
	return body, err
}

// freeAddress is a loopback port that was free just now.
func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// need gives the path of a program that must be there.
func need(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Fatal(err)
	}
	return path
}
