package front_test

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/goleak"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/front"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// deadline is how long a test waits for what has to happen.
const deadline = 20 * time.Second

// service is an AlarmService whose behaviour each test gives.
type service struct {
	hawserv1.UnimplementedAlarmServiceServer
	list  func(context.Context, *hawserv1.ListAlarmsRequest) (*hawserv1.ListAlarmsResponse, error)
	watch func(grpc.ServerStreamingServer[hawserv1.WatchAlarmsResponse]) error
	ack   func() (*hawserv1.AcknowledgeAlarmResponse, error)
}

func (s *service) Register(r grpc.ServiceRegistrar) { hawserv1.RegisterAlarmServiceServer(r, s) }

func (s *service) ListAlarms(ctx context.Context, req *hawserv1.ListAlarmsRequest) (*hawserv1.ListAlarmsResponse, error) {
	return s.list(ctx, req)
}

func (s *service) WatchAlarms(_ *hawserv1.WatchAlarmsRequest, stream grpc.ServerStreamingServer[hawserv1.WatchAlarmsResponse]) error {
	return s.watch(stream)
}

func (s *service) AcknowledgeAlarm(context.Context, *hawserv1.AcknowledgeAlarmRequest) (*hawserv1.AcknowledgeAlarmResponse, error) {
	return s.ack()
}

func options() front.Options {
	registry := prometheus.NewRegistry()
	return front.Options{GRPCAddr: "127.0.0.1:0", HTTPAddr: "127.0.0.1:0", Log: slog.New(slog.DiscardHandler),
		Registerer: registry, Gatherer: registry}
}

// page answers every path.
func page(h http.HandlerFunc) map[string]http.Handler { return map[string]http.Handler{"/": h} }

// running is a front that serves.
type running struct {
	*front.Front
	t      *testing.T
	cancel context.CancelFunc
	ended  chan error
}

func run(t *testing.T, o front.Options) *running {
	t.Helper()
	f, err := front.New(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	r := &running{Front: f, t: t, cancel: cancel, ended: make(chan error, 1)}
	go func() { r.ended <- f.Run(ctx) }()
	t.Cleanup(func() { r.stop() })
	return r
}

// stop stops it and waits; again does nothing.
func (r *running) stop() {
	r.t.Helper()
	if r.cancel == nil {
		return
	}
	r.cancel()
	r.cancel = nil
	select {
	case err := <-r.ended:
		if err != nil {
			r.t.Errorf("run: %v", err)
		}
	case <-time.After(deadline):
		r.t.Errorf("still running %v after the stop", deadline)
	}
}

func (r *running) conn() *grpc.ClientConn {
	r.t.Helper()
	conn, err := grpc.NewClient(r.GRPCAddr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		r.t.Fatal(err)
	}
	r.t.Cleanup(func() { conn.Close() })
	return conn
}

func (r *running) get(path string) (int, string) {
	r.t.Helper()
	req, err := http.NewRequestWithContext(r.t.Context(), http.MethodGet, "http://"+r.HTTPAddr().String()+path, nil)
	if err != nil {
		r.t.Fatal(err)
	}
	return r.do(req)
}

func (r *running) do(req *http.Request) (int, string) {
	r.t.Helper()
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}, Timeout: deadline}
	resp, err := client.Do(req)
	if err != nil {
		r.t.Fatal(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		r.t.Fatal(err)
	}
	return resp.StatusCode, string(body)
}

func TestOwnPaths(t *testing.T) {
	o := options()
	o.Routes = page(func(w http.ResponseWriter, r *http.Request) { io.WriteString(w, "page of "+r.URL.Path) })
	r := run(t, o)
	expect := func(path string, code int, says string) {
		t.Helper()
		if got, body := r.get(path); got != code || !strings.Contains(body, says) {
			t.Errorf("%s: %d %q, want %d that says %q", path, got, body, code, says)
		}
	}
	expect("/healthz", http.StatusOK, "ok")
	expect("/readyz", http.StatusServiceUnavailable, "starting")
	r.SetReady("")
	expect("/readyz", http.StatusOK, "ready")
	r.SetReady("journal is not there")
	expect("/readyz", http.StatusServiceUnavailable, "journal is not there")
	expect("/berths", http.StatusOK, "page of /berths")
	expect("/metrics", http.StatusOK, `hawser_front_http_requests_total{code="503"} 2`)
}

// Answers are kept by no cache and taken for what they say they are (RFC 9111, 5.2.2.5;
// Fetch standard, nosniff), but for those whose handler says otherwise.
func TestAnswersAreKeptNowhere(t *testing.T) {
	o := options()
	o.Routes = map[string]http.Handler{
		"GET /loads": http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, "88.5") }),
		"GET /icon": http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Cache-Control", "no-cache")
			io.WriteString(w, "icon")
		}),
	}
	r := run(t, o)
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}, Timeout: deadline}
	for path, want := range map[string]string{"/loads": "no-store", "/icon": "no-cache", "/none": "no-store"} {
		resp, err := client.Get("http://" + r.HTTPAddr().String() + path)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if got := resp.Header.Get("Cache-Control"); got != want || resp.Header.Get("X-Content-Type-Options") != "nosniff" {
			t.Errorf("%s: %v", path, resp.Header)
		}
	}
}

func TestAddressesAreKnownBeforeRunAndFreeAfterClose(t *testing.T) {
	f, err := front.New(t.Context(), options())
	if err != nil {
		t.Fatal(err)
	}
	addresses := []string{f.GRPCAddr().String(), f.HTTPAddr().String()}
	for _, a := range addresses {
		if strings.HasSuffix(a, ":0") {
			t.Errorf("address %s is not bound", a)
		}
	}
	if err := errors.Join(f.Close(), f.Close()); err != nil {
		t.Error(err)
	}
	for _, a := range addresses {
		l, err := net.Listen("tcp", a)
		if err != nil {
			t.Errorf("%s is still taken: %v", a, err)
			continue
		}
		l.Close()
	}
	if err := f.Run(t.Context()); err == nil {
		t.Error("ran after close")
	}
}

func TestSecondListenerFails(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	first, err := net.Listen("tcp", "127.0.0.1:0") // a port that is free right after
	if err != nil {
		t.Fatal(err)
	}
	first.Close()
	o := options()
	o.GRPCAddr, o.HTTPAddr = first.Addr().String(), taken.Addr().String()
	_, err = front.New(t.Context(), o)
	if err == nil || !strings.Contains(err.Error(), "HTTP: listen tcp "+taken.Addr().String()) {
		t.Fatalf("error: %v", err)
	}
	again, err := net.Listen("tcp", first.Addr().String())
	if err != nil {
		t.Fatalf("the first listener was left open: %v", err)
	}
	again.Close()
}

func TestOnlyLoopbackUnlessAllowed(t *testing.T) {
	for address, says := range map[string]string{
		":0":                 "every interface",
		"0.0.0.0:0":          "0.0.0.0 is not loopback",
		"[::]:0":             ":: is not loopback",
		"192.0.2.1:80":       "192.0.2.1 is not loopback",
		"[2001:db8::1]:8080": "2001:db8::1 is not loopback",
		"127.0.0.1":          "want host:port",
	} {
		o := options()
		o.HTTPAddr = address
		_, err := front.New(t.Context(), o)
		if err == nil || !strings.Contains(err.Error(), says) || !strings.Contains(err.Error(), "HTTP address") {
			t.Errorf("%s: %v, want an error that says %q", address, err, says)
		}
	}
	for _, address := range []string{"127.0.0.1:0", "127.9.8.7:0", "localhost:0"} {
		o := options()
		o.GRPCAddr = address
		f, err := front.New(t.Context(), o)
		if err != nil {
			t.Errorf("%s: %v", address, err)
			continue
		}
		f.Close()
	}
}

func TestAnswersToLoopbackNamesOnly(t *testing.T) {
	o := options()
	o.Routes = page(func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, "page") })
	r := run(t, o)
	for host, code := range map[string]int{
		"localhost": 200, "localhost:7410": 200, "127.0.0.1:9": 200, "[::1]:7410": 200, "[::1]": 200,
		"elsewhere.example": 421, "elsewhere.example:7410": 421, "192.0.2.1": 421, "localhost.elsewhere.example": 421,
	} {
		req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "http://"+r.HTTPAddr().String()+"/", nil)
		if err != nil {
			t.Fatal(err)
		}
		req.Host = host
		if got, _ := r.do(req); got != code {
			t.Errorf("host %s: %d, want %d", host, got, code)
		}
	}
}

func TestOptionsAreChecked(t *testing.T) {
	o := options()
	o.Log = nil
	if _, err := front.New(t.Context(), o); err == nil || !strings.Contains(err.Error(), "required") {
		t.Errorf("without a log: %v", err)
	}
	o = options()
	o.Grace = -time.Second
	if _, err := front.New(t.Context(), o); err == nil || !strings.Contains(err.Error(), "grace of -1s") {
		t.Errorf("negative grace: %v", err)
	}
}
