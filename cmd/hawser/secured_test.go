package main

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"

	"hawser/detect"
	"hawser/services/access"
	"hawser/services/access/keyring"
	"hawser/services/alarm"
)

// The two berths of a secured station, and who lies there.
const (
	northBerth, northShip = "north-jetty-1", "Heron of Aldmouth"
	townBerth, townShip   = "town-quay-2", "Saltmarsh Linnet"
)

// secured is a whole server in this process with TLS and access, made by hawser
// keys, over two berths.
type secured struct {
	t      *testing.T
	st     *station
	dir    string            // of keys
	tokens map[string]string // by the name of whose they are
	audit  string            // path
	roots  *x509.CertPool
	alarm  map[string]string // id of an active alarm by berth, "" for the server's own
}

// startSecured starts one. people are added to those of hawser keys.
func startSecured(t *testing.T, people map[string]access.Grant) *secured {
	t.Helper()
	s := &secured{t: t, dir: filepath.Join(t.TempDir(), "keys"), tokens: map[string]string{}, alarm: map[string]string{}}
	made, err := keyring.Make(keyring.Options{Dir: s.dir, Berths: []string{northBerth}, Ships: []string{northShip, townShip, "Curlew"}})
	if err != nil {
		t.Fatal(err)
	}
	for _, token := range made.Tokens {
		s.tokens[token.Name] = token.Token
	}
	s.addPeople(people)
	cfg := defaultConfig()
	cfg.HTTP, cfg.GRPC, cfg.Data = "127.0.0.1:0", "127.0.0.1:0", t.TempDir()
	cfg.Plans = []string{planFile("tanker-12"), planFile("coaster-8")}
	cfg.TLS = tlsConfig{Cert: filepath.Join(s.dir, "server.crt"), Key: filepath.Join(s.dir, "server.key")}
	s.audit = filepath.Join(t.TempDir(), "audit.jsonl")
	cfg.Access = accessConfig{File: filepath.Join(s.dir, "access.yaml"), Audit: s.audit}
	if s.st, err = openStation(t.Context(), cfg, newLog(io.Discard, 0)); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.st.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("run: %v", err)
		}
	})
	s.roots = rootsOf(t, filepath.Join(s.dir, keyring.CAFile))
	for _, berth := range []string{northBerth, townBerth, ""} {
		s.raise(berth)
	}
	return s
}

// rootsOf is the authority in a file.
func rootsOf(t *testing.T, path string) *x509.CertPool {
	t.Helper()
	pem, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	roots := x509.NewCertPool()
	if !roots.AppendCertsFromPEM(pem) {
		t.Fatalf("%s: no certificates", path)
	}
	return roots
}

// addPeople adds people and their new tokens to the access file.
func (s *secured) addPeople(people map[string]access.Grant) {
	s.t.Helper()
	path := filepath.Join(s.dir, "access.yaml")
	data, err := os.ReadFile(path)
	if err != nil {
		s.t.Fatal(err)
	}
	var more strings.Builder
	for name, g := range people {
		s.tokens[name] = access.NewToken()
		over := "site: true"
		if g.Berth != "" {
			over = "berth: " + g.Berth
		}
		fmt.Fprintf(&more, "  - {name: %q, token: %q, grants: [{role: %s, %s}]}\n", name, access.HashOf(s.tokens[name]), g.Role, over)
	}
	text := strings.Replace(string(data), "people:\n", "people:\n"+more.String(), 1)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		s.t.Fatal(err)
	}
}

// raise raises an alarm of a berth, "" for the server itself.
func (s *secured) raise(berth string) {
	s.t.Helper()
	err := s.st.alarms.RaiseOwn(s.t.Context(), alarm.Own{Berth: berth, Condition: "link-slow", Priority: detect.Warning, Detail: "Look at the link."})
	if err != nil {
		s.t.Fatal(err)
	}
	all, _ := s.st.alarms.List("", false)
	for _, a := range all {
		if a.Berth == berth {
			s.alarm[berth] = a.ID
		}
	}
}

// tls is a client's side, with hawser keys' device certificate where asked.
func (s *secured) tls(device bool) *tls.Config {
	s.t.Helper()
	c := &tls.Config{RootCAs: s.roots}
	if device {
		pair, err := tls.LoadX509KeyPair(filepath.Join(s.dir, keyring.DeviceCertFile), filepath.Join(s.dir, keyring.DeviceKeyFile))
		if err != nil {
			s.t.Fatal(err)
		}
		c.Certificates = []tls.Certificate{pair}
	}
	return c
}

// dial connects for gRPC, with a token unless it is "".
func (s *secured) dial(token string, device bool) *grpc.ClientConn {
	s.t.Helper()
	options := []grpc.DialOption{grpc.WithTransportCredentials(credentials.NewTLS(s.tls(device)))}
	if token != "" {
		options = append(options, grpc.WithPerRPCCredentials(bearerToken(token)))
	}
	conn, err := grpc.NewClient(s.st.front.GRPCAddr().String(), options...)
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { _ = conn.Close() })
	return conn
}

// browser is an HTTP client that does not follow redirects.
func (s *secured) browser() *http.Client {
	transport := &http.Transport{TLSClientConfig: s.tls(false), ForceAttemptHTTP2: true}
	s.t.Cleanup(transport.CloseIdleConnections)
	return &http.Client{Transport: transport, Timeout: time.Minute,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
}

func (s *secured) url(path string) string { return "https://" + s.st.front.HTTPAddr().String() + path }

// audited is the audit log so far.
func (s *secured) audited() string {
	s.t.Helper()
	data, err := os.ReadFile(s.audit)
	if err != nil {
		s.t.Fatal(err)
	}
	return string(data)
}
