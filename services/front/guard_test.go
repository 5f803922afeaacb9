package front_test

import (
	"context"
	"crypto/tls"
	"errors"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/status"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/front"
)

// porter is a guard that knows some routes and methods and lets in whoever says
// please.
type porter struct {
	rules  []string
	server *tls.Config
	client *tls.Config
}

func newPorter(t *testing.T, rules ...string) *porter {
	t.Helper()
	s := httptest.NewTLSServer(nil) // for its certificate
	s.Close()
	client := s.Client().Transport.(*http.Transport).TLSClientConfig.Clone()
	client.ServerName = "example.com"
	return &porter{rules: rules, server: &tls.Config{Certificates: s.TLS.Certificates, NextProtos: []string{"h2", "http/1.1"}}, client: client}
}

func (p *porter) GRPCTLS() *tls.Config { return p.server }
func (p *porter) HTTPTLS() *tls.Config { return p.server }

func (p *porter) Method(name string) error {
	if !slices.Contains(p.rules, name) && strings.HasPrefix(name, "/hawser.") {
		return errors.New("no rule for " + name)
	}
	return nil
}

func (p *porter) Unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if m, ok := req.(*hawserv1.ListAlarmsRequest); ok && m.Berth != "please" {
		return nil, status.Error(codes.PermissionDenied, info.FullMethod)
	}
	return handler(ctx, req)
}

func (p *porter) Stream(_ any, _ grpc.ServerStream, info *grpc.StreamServerInfo, _ grpc.StreamHandler) error {
	return status.Error(codes.PermissionDenied, info.FullMethod)
}

func (p *porter) Route(pattern string, next http.Handler) (http.Handler, error) {
	if !slices.Contains(p.rules, pattern) {
		return nil, errors.New("no rule for " + pattern)
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.RawQuery != "please" {
			http.Error(w, pattern, http.StatusForbidden)
			return
		}
		next.ServeHTTP(w, r)
	}), nil
}

var known = []string{"/hawser.v1.AlarmService/ListAlarms", "/hawser.v1.AlarmService/WatchAlarms",
	"/hawser.v1.AlarmService/AcknowledgeAlarm", "/hawser.v1.AlarmService/ShelveAlarm", "/hawser.v1.AlarmService/ResetAlarm", "/hawser.v1.AlarmService/NoteAlarm", "/hawser.v1.AlarmService/TakeOutOfService",
	"/hawser.v1.AlarmService/EndHold", "GET /metrics", "GET /healthz", "GET /readyz", "/"}

func TestEverythingGoesByTheGuard(t *testing.T) {
	guard := newPorter(t, known...)
	o := options()
	o.Guard = guard
	o.HTTPAddr, o.GRPCAddr = "0.0.0.0:0", "0.0.0.0:0"
	o.Routes = page(func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, "page") })
	o.Services = []front.Registrar{&service{list: func(context.Context, *hawserv1.ListAlarmsRequest) (*hawserv1.ListAlarmsResponse, error) {
		return &hawserv1.ListAlarmsResponse{Position: 7}, nil
	}}}
	r := run(t, o)

	_, port, err := net.SplitHostPort(r.HTTPAddr().String())
	if err != nil {
		t.Fatal(err)
	}
	client := &http.Client{Timeout: deadline, Transport: &http.Transport{TLSClientConfig: guard.client, DisableKeepAlives: true}}
	for path, code := range map[string]int{"/": 403, "/?please": 200, "/metrics": 403, "/metrics?please": 200, "/readyz": 403, "/healthz": 403} {
		resp, err := client.Get("https://127.0.0.1:" + port + path)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if resp.StatusCode != code {
			t.Errorf("%s: %d, want %d", path, resp.StatusCode, code)
		}
	}
	if got := r.Routes(); !slices.Equal(got, []string{"/", "GET /healthz", "GET /metrics", "GET /readyz"}) {
		t.Errorf("routes: %q", got)
	}

	_, port, err = net.SplitHostPort(r.GRPCAddr().String())
	if err != nil {
		t.Fatal(err)
	}
	conn, err := grpc.NewClient("127.0.0.1:"+port, grpc.WithTransportCredentials(credentials.NewTLS(guard.client)))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	alarms := hawserv1.NewAlarmServiceClient(conn)
	if _, err := alarms.ListAlarms(within(t), &hawserv1.ListAlarmsRequest{}); status.Code(err) != codes.PermissionDenied {
		t.Errorf("call: %v", err)
	}
	if got, err := alarms.ListAlarms(within(t), &hawserv1.ListAlarmsRequest{Berth: "please"}); err != nil || got.Position != 7 {
		t.Errorf("call that may: %v, %v", got, err)
	}
	stream, err := alarms.WatchAlarms(within(t), &hawserv1.WatchAlarmsRequest{})
	if err == nil {
		_, err = stream.Recv()
	}
	if status.Code(err) != codes.PermissionDenied {
		t.Errorf("stream: %v", err)
	}
}

func TestNothingIsServedWithoutARule(t *testing.T) {
	for _, missing := range known {
		o := options()
		o.Guard = newPorter(t, slices.DeleteFunc(slices.Clone(known), func(s string) bool { return s == missing })...)
		o.Routes = page(func(http.ResponseWriter, *http.Request) {})
		o.Services = []front.Registrar{&service{}}
		if f, err := front.New(t.Context(), o); err == nil || err.Error() != "no rule for "+missing {
			t.Errorf("without a rule for %s: %v", missing, err)
			if f != nil {
				f.Close()
			}
		}
	}
}
