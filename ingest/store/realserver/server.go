// Package realserver starts real servers for tests, and holds the tests that need
// one. It is no part of the program. Its tests run when HAWSER_REAL_SERVERS is 1,
// and then a server that cannot be had is a failure.
package realserver

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

// influxdModule is the server, built from source: nothing is needed but Go and a
// module proxy.
const influxdModule = "github.com/influxdata/influxdb/cmd/influxd@v1.8.3"

// FindInfluxd gives the path of the server: on the PATH, where go install puts
// programs, or installed into dir now.
func FindInfluxd(ctx context.Context, dir string) (string, error) {
	if path, err := exec.LookPath("influxd"); err == nil {
		return path, nil
	}
	gopath, err := exec.CommandContext(ctx, "go", "env", "GOPATH").Output()
	if err != nil {
		return "", fmt.Errorf("go env: %w", err)
	}
	path := filepath.Join(strings.TrimSpace(string(gopath)), "bin", "influxd")
	if _, err := os.Stat(path); err == nil {
		return path, nil
	}
	install := exec.CommandContext(ctx, "go", "install", influxdModule)
	install.Env = append(os.Environ(), "GOBIN="+dir, "GOFLAGS=")
	if out, err := install.CombinedOutput(); err != nil {
		return "", fmt.Errorf("go install %s: %w\n%s", influxdModule, err, out)
	}
	return filepath.Join(dir, "influxd"), nil
}

// Influxd is an InfluxDB 1.8 server in a folder of its own, on ports of its own,
// started and stopped as often as a test wants.
type Influxd struct {
	URL string

	path, dir, config string
	process           *exec.Cmd
}

const influxdConfig = `
reporting-disabled = true
bind-address = "%[2]s"
[meta]
  dir = "%[1]s/meta"
[data]
  dir = "%[1]s/data"
  wal-dir = "%[1]s/wal"
  query-log-enabled = false
[http]
  bind-address = "%[3]s"
  flux-enabled = true
  log-enabled = false
[monitor]
  store-enabled = false
`

// NewInfluxd prepares a server in dir; Start starts it.
func NewInfluxd(path, dir string) (*Influxd, error) {
	rpc, err := freeAddress()
	if err != nil {
		return nil, err
	}
	web, err := freeAddress()
	if err != nil {
		return nil, err
	}
	s := &Influxd{URL: "http://" + web, path: path, dir: dir, config: filepath.Join(dir, "influxdb.conf")}
	return s, os.WriteFile(s.config, fmt.Appendf(nil, influxdConfig, dir, rpc, web), 0o600)
}

// freeAddress is a loopback port that was free just now. It has to be named before
// the server starts, and stay the same over restarts.
func freeAddress() (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	return l.Addr().String(), l.Close()
}

// Start starts the server and waits until it answers.
func (s *Influxd) Start(ctx context.Context) error {
	log, err := os.OpenFile(filepath.Join(s.dir, "server.log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer log.Close()
	s.process = exec.Command(s.path, "-config", s.config)
	s.process.Stdout, s.process.Stderr = log, log
	if err := s.process.Start(); err != nil {
		return err
	}
	if err := until(ctx, func() bool { return s.get(ctx, "/ping") == nil }); err != nil {
		return errors.Join(fmt.Errorf("influxd does not answer: %w", err), s.Kill())
	}
	return nil
}

// CreateDatabase makes a database, and waits until it is on disk: the server
// answers before that, and one killed then has forgotten it.
func (s *Influxd) CreateDatabase(ctx context.Context, name string) error {
	if err := s.Query(ctx, "CREATE DATABASE "+name); err != nil {
		return err
	}
	return until(ctx, func() bool {
		meta, err := os.ReadFile(filepath.Join(s.dir, "meta", "meta.db"))
		return err == nil && bytes.Contains(meta, []byte(name))
	})
}

// until waits for a condition, a minute at most.
func until(ctx context.Context, ok func() bool) error {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for !ok() {
		select {
		case <-tick.C:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return nil
}

// Query runs a statement of the server's own language.
func (s *Influxd) Query(ctx context.Context, statement string) error {
	return s.QueryIn(ctx, "", statement)
}

// QueryIn runs a statement about what is in a database.
func (s *Influxd) QueryIn(ctx context.Context, database, statement string) error {
	form := url.Values{"q": {statement}, "db": {database}}
	return s.post(ctx, "/query", "application/x-www-form-urlencoded", form.Encode())
}

// Write writes lines past the store under test.
func (s *Influxd) Write(ctx context.Context, database, lines string) error {
	return s.post(ctx, "/write?db="+url.QueryEscape(database), "text/plain", lines)
}

// Kill is kill -9: the server has no say. Of a stopped server it does nothing.
func (s *Influxd) Kill() error {
	if s.process == nil {
		return nil
	}
	err := s.process.Process.Kill()
	_ = s.process.Wait() // it always tells of the kill
	s.process = nil
	return err
}

func (s *Influxd) get(ctx context.Context, path string) error {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, s.URL+path, nil)
	if err != nil {
		return err
	}
	return do(req)
}

func (s *Influxd) post(ctx context.Context, path, kind, body string) error {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, s.URL+path, strings.NewReader(body))
	if err != nil {
		return err
	}
	req.Header.Set("Content-Type", kind)
	return do(req)
}

func do(req *http.Request) error {
	req.Close = true
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	// A statement that could not be run has an error in an answer of status 200.
	if err == nil && (res.StatusCode/100 != 2 || bytes.Contains(body, []byte(`"error":`))) {
		err = fmt.Errorf("%s %s: %s: %s", req.Method, req.URL.Path, res.Status, body)
	}
	return err
}
