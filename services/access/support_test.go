package access_test

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/goleak"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/access"
	"hawser/services/access/certtest"
	"hawser/services/front"
	"hawser/services/waittest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// deadline is how long a test waits for what has to happen.
const deadline = 20 * time.Second

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// within is a context that ends when a test has waited too long.
func within(t *testing.T) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), deadline)
	t.Cleanup(cancel)
	return ctx
}

// authority signs certificates for the tests.
type authority struct{ *certtest.Authority }

func newAuthority(t testing.TB, name string) authority { return authority{certtest.New(t, name)} }

// server signs the certificate of a server on this machine.
func (a authority) server(name string) (cert, key []byte) {
	s := a.Sign(name, func(c *x509.Certificate) { c.ExtKeyUsage = []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth} })
	return s.Cert, s.Key
}

// device signs the certificate of a device with these URIs.
func (a authority) device(name string, uris ...string) tls.Certificate {
	return a.Pair(a.Sign(name, func(c *x509.Certificate) {
		c.IPAddresses, c.ExtKeyUsage = nil, []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth}
		for _, s := range uris {
			u, err := url.Parse(s)
			if err != nil {
				panic(err)
			}
			c.URIs = append(c.URIs, u)
		}
	}))
}

// harbour is who lies where, and which alarms there are.
type harbour struct {
	mu    sync.Mutex
	stays map[string]stay
}

type stay struct {
	ship  string
	since time.Time
}

func (h *harbour) Stay(berth string) (string, time.Time, bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	s, ok := h.stays[berth]
	return s.ship, s.since, ok
}

// moor puts a ship at a berth, since the beginning of 2026.
func (h *harbour) moor(berth, ship string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.stays[berth] = stay{ship, time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)}
}

// Alarm knows alarms named BERTH/YEAR, on record since that year.
func (h *harbour) Alarm(id string) (string, time.Time, bool) {
	berth, year, ok := strings.Cut(id, "/")
	t, err := time.Parse("2006", year)
	return berth, t, ok && err == nil
}

// services answer every call of the schema and say who called.
type services struct {
	hawserv1.UnimplementedAlarmServiceServer
	hawserv1.UnimplementedLiveServiceServer
	hawserv1.UnimplementedIntakeServiceServer
	guard func() *access.Guard
}

func (s *services) Register(r grpc.ServiceRegistrar) {
	hawserv1.RegisterAlarmServiceServer(r, s)
	hawserv1.RegisterLiveServiceServer(r, s)
	hawserv1.RegisterIntakeServiceServer(r, s)
}

func (s *services) ListAlarms(ctx context.Context, _ *hawserv1.ListAlarmsRequest) (*hawserv1.ListAlarmsResponse, error) {
	return &hawserv1.ListAlarmsResponse{Alarms: []*hawserv1.Alarm{{AcknowledgedBy: s.guard().Who(ctx)}}}, nil
}

func (s *services) AcknowledgeAlarm(ctx context.Context, r *hawserv1.AcknowledgeAlarmRequest) (*hawserv1.AcknowledgeAlarmResponse, error) {
	name, role, ship := s.guard().Signed(ctx, r.By)
	return &hawserv1.AcknowledgeAlarmResponse{Alarm: &hawserv1.Alarm{AcknowledgedBy: name, Note: fmt.Sprintf("%s, for the ship %v", role, ship)}}, nil
}

// WatchAlarms says one thing and then nothing more until it is ended.
func (s *services) WatchAlarms(_ *hawserv1.WatchAlarmsRequest, stream grpc.ServerStreamingServer[hawserv1.WatchAlarmsResponse]) error {
	if err := stream.Send(&hawserv1.WatchAlarmsResponse{}); err != nil {
		return err
	}
	<-stream.Context().Done()
	return stream.Context().Err()
}

func (s *services) Deliver(stream grpc.BidiStreamingServer[hawserv1.DeliverRequest, hawserv1.DeliverResponse]) error {
	for {
		if _, err := stream.Recv(); err != nil {
			return err
		}
		if err := stream.Send(&hawserv1.DeliverResponse{}); err != nil {
			return err
		}
	}
}

// house is a front behind a guard, over TLS on loopback.
type house struct {
	t       *testing.T
	dir     string
	ca      authority
	harbour *harbour
	audit   waittest.Buffer
	log     waittest.Buffer
	guard   *access.Guard
	front   *front.Front
	metrics *prometheus.Registry
}

// newHouse opens one by an access file; files are further ones that it names.
func newHouse(t *testing.T, accessFile string, files map[string][]byte, change func(*access.Options)) *house {
	t.Helper()
	h := &house{t: t, dir: t.TempDir(), ca: newAuthority(t, "test authority"), harbour: &harbour{stays: map[string]stay{}}, metrics: prometheus.NewRegistry()}
	cert, key := h.ca.server("first")
	h.write("server.crt", cert)
	h.write("server.key", key)
	h.write("ca.crt", h.ca.PEM)
	for name, data := range files {
		h.write(name, data)
	}
	h.write("access.yaml", []byte(accessFile))
	o := access.Options{File: h.path("access.yaml"), Cert: h.path("server.crt"), Key: h.path("server.key"), Stays: h.harbour, Alarms: h.harbour,
		Audit: &h.audit, Log: slog.New(slog.NewTextHandler(&h.log, nil)), Registerer: h.metrics, Every: 5 * time.Millisecond}
	if change != nil {
		change(&o)
	}
	var err error
	h.guard, err = access.New(o)
	must(t, err)
	page := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { io.WriteString(w, "page for "+h.guard.Who(r.Context())) })
	h.front, err = front.New(t.Context(), front.Options{
		GRPCAddr: "127.0.0.1:0", HTTPAddr: "127.0.0.1:0", Guard: h.guard, Services: []front.Registrar{&services{guard: func() *access.Guard { return h.guard }}},
		Routes: map[string]http.Handler{
			"GET /{$}": page, "POST /acknowledge": page,
			"POST /sign-in": http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				if err := h.guard.SignIn(w, r, r.FormValue("token")); err != nil {
					http.Error(w, err.Error(), http.StatusUnauthorized)
				}
			}),
			"POST /sign-out": http.HandlerFunc(h.signOut),
			"GET /live": http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				must(t, http.NewResponseController(w).Flush())
				<-r.Context().Done()
			}),
		},
		Grace: deadline, Log: slog.New(slog.NewTextHandler(&h.log, nil)), Registerer: h.metrics, Gatherer: h.metrics,
	})
	must(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	var run sync.WaitGroup
	for _, part := range []func(context.Context) error{h.guard.Run, h.front.Run} {
		run.Go(func() {
			if err := part(ctx); err != nil {
				t.Error(err)
			}
		})
	}
	t.Cleanup(func() {
		cancel()
		run.Wait()
	})
	return h
}

func (h *house) signOut(w http.ResponseWriter, r *http.Request) { h.guard.SignOut(w, r) }

func (h *house) path(name string) string { return filepath.Join(h.dir, name) }

// write puts a file in place in one step, as it should be.
func (h *house) write(name string, data []byte) {
	h.t.Helper()
	aside := h.path(name + ".new")
	must(h.t, os.WriteFile(aside, data, 0o600))
	must(h.t, os.Rename(aside, h.path(name)))
}

// credentials are what a caller shows.
type shows struct {
	token  string
	device *tls.Certificate
	tls    func(*tls.Config)
}

func (s shows) GetRequestMetadata(context.Context, ...string) (map[string]string, error) {
	return map[string]string{"authorization": "Bearer " + s.token}, nil
}
func (shows) RequireTransportSecurity() bool { return true }

func (h *house) clientTLS(s shows) *tls.Config {
	c := &tls.Config{RootCAs: h.ca.Pool()}
	if s.device != nil {
		// Shown whatever authority the server asks for.
		c.GetClientCertificate = func(*tls.CertificateRequestInfo) (*tls.Certificate, error) { return s.device, nil }
	}
	if s.tls != nil {
		s.tls(c)
	}
	return c
}

func (h *house) dial(s shows) *grpc.ClientConn {
	h.t.Helper()
	options := []grpc.DialOption{grpc.WithTransportCredentials(credentials.NewTLS(h.clientTLS(s)))}
	if s.token != "" {
		options = append(options, grpc.WithPerRPCCredentials(s))
	}
	conn, err := grpc.NewClient(h.front.GRPCAddr().String(), options...)
	must(h.t, err)
	h.t.Cleanup(func() { conn.Close() })
	return conn
}

// list makes the simplest call there is and gives who the server says called.
func (h *house) list(s shows, berth string) (who string, err error) {
	h.t.Helper()
	conn := h.dial(s)
	defer conn.Close()
	resp, err := hawserv1.NewAlarmServiceClient(conn).ListAlarms(within(h.t), &hawserv1.ListAlarmsRequest{Berth: berth})
	if err != nil {
		return "", err
	}
	return resp.Alarms[0].AcknowledgedBy, nil
}

// deliver says hello for a berth as a source would.
func (h *house) deliver(s shows, hello *hawserv1.Hello) error {
	h.t.Helper()
	conn := h.dial(s)
	defer conn.Close()
	stream, err := hawserv1.NewIntakeServiceClient(conn).Deliver(within(h.t))
	if err == nil {
		err = stream.Send(&hawserv1.DeliverRequest{Frame: &hawserv1.DeliverRequest_Hello{Hello: hello}})
	}
	if err == nil || err == io.EOF {
		_, err = stream.Recv()
	}
	return err
}

// watch opens a stream and waits for its first word.
func (h *house) watch(s shows, berth string) grpc.ServerStreamingClient[hawserv1.WatchAlarmsResponse] {
	h.t.Helper()
	stream, err := hawserv1.NewAlarmServiceClient(h.dial(s)).WatchAlarms(within(h.t), &hawserv1.WatchAlarmsRequest{Berth: berth})
	must(h.t, err)
	_, err = stream.Recv()
	must(h.t, err)
	return stream
}

// client is an HTTP client that does not follow redirects.
func (h *house) client() *http.Client {
	transport := &http.Transport{TLSClientConfig: h.clientTLS(shows{}), ForceAttemptHTTP2: true}
	h.t.Cleanup(transport.CloseIdleConnections)
	return &http.Client{Transport: transport, Timeout: deadline,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
}

// do makes a request and gives the status and the body.
func (h *house) do(c *http.Client, method, path, body string, header http.Header) (*http.Response, string) {
	h.t.Helper()
	req, err := http.NewRequestWithContext(h.t.Context(), method, "https://"+h.front.HTTPAddr().String()+path, strings.NewReader(body))
	must(h.t, err)
	if method == http.MethodPost {
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for key, values := range header {
		req.Header[key] = values
	}
	resp, err := c.Do(req)
	must(h.t, err)
	defer resp.Body.Close()
	data, err := io.ReadAll(resp.Body)
	must(h.t, err)
	return resp, strings.TrimSpace(string(data))
}

// person is an entry of an access file and the token that goes with it.
func person(name, grants string) (token, entry string) {
	token = access.NewToken()
	return token, fmt.Sprintf("  - name: %s\n    token: %s\n    grants: [%s]\n", name, access.HashOf(token), grants)
}
