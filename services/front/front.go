// Package front holds the two listeners people and programs come in by, one for
// gRPC and one for HTTP, and their lifecycle. It knows no service: it is handed
// registrars and handlers. Its invariant: both addresses are bound before New
// returns, and when Run returns nothing is served any more.
//
//	:grpc ─► TLS, keepalive, limits, recover, count, guard ─► registered services, health, reflection
//	:http ─► TLS, timeouts, recover, count, guard ─► routes   /metrics /healthz /readyz
//
// A guard brings TLS and lets in who may. Without one there is neither, so it
// listens on loopback only, and answers only requests addressed to loopback: a
// page from elsewhere cannot reach it through a name that points here.
package front

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
)

// Registrar adds a service to a server.
type Registrar interface {
	Register(grpc.ServiceRegistrar)
}

// Guard stands before every service and route. What it has no rule for is an
// error, and then nothing is served.
type Guard interface {
	GRPCTLS() *tls.Config
	HTTPTLS() *tls.Config
	// Method is nil where there is a rule for an RPC's full method.
	Method(name string) error
	Unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error)
	Stream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error
	// Route puts the guard before the handler of a route.
	Route(pattern string, next http.Handler) (http.Handler, error)
}

// Options are what a Front needs. Log, Registerer and Gatherer are required.
type Options struct {
	// GRPCAddr and HTTPAddr are host:port; port 0 takes a free one. Empty means
	// 127.0.0.1:7411 and 127.0.0.1:7410.
	GRPCAddr, HTTPAddr string
	// Guard lets in who may. Without one everybody may, and the addresses must be
	// loopback.
	Guard Guard

	Services []Registrar
	// Routes are who answers which pattern of http.ServeMux, beside the front's own.
	Routes map[string]http.Handler
	// OnStop is called, in order, when stopping begins: it ends what would not end
	// by itself, such as streams. It must not wait long.
	OnStop []func()
	// Grace is how long calls under way may take when stopping; 0 means 10 s.
	Grace time.Duration

	Log        *slog.Logger
	Registerer prometheus.Registerer
	Gatherer   prometheus.Gatherer // behind /metrics
}

func (o *Options) validate() error {
	if o.Log == nil || o.Registerer == nil || o.Gatherer == nil {
		return errors.New("front: Log, Registerer and Gatherer are required")
	}
	if o.Grace < 0 {
		return fmt.Errorf("front: grace of %v, want 0 or more", o.Grace)
	}
	if o.Grace == 0 {
		o.Grace = 10 * time.Second
	}
	if o.GRPCAddr == "" {
		o.GRPCAddr = "127.0.0.1:7411"
	}
	if o.HTTPAddr == "" {
		o.HTTPAddr = "127.0.0.1:7410"
	}
	if o.Guard != nil {
		return nil
	}
	return errors.Join(loopbackOnly("gRPC", o.GRPCAddr), loopbackOnly("HTTP", o.HTTPAddr))
}

// Front is the two servers. Safe for concurrent use.
type Front struct {
	o          Options
	grpcListen net.Listener
	httpListen net.Listener
	grpc       *grpc.Server
	http       *http.Server
	routes     []string // patterns
	health     *health.Server
	unready    atomic.Pointer[string] // why it is not ready, nil when it is

	mu      sync.Mutex
	running bool
	closed  bool
}

// New binds both addresses. Requests are answered from Run on.
func New(ctx context.Context, o Options) (*Front, error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	f := &Front{o: o, health: health.NewServer()}
	m := newMetrics(o.Registerer)
	var err error
	if f.grpc, err = f.newGRPC(m); err != nil {
		return nil, err
	}
	if f.http, err = f.newHTTP(m); err != nil {
		return nil, err
	}
	config := net.ListenConfig{Control: giveUpUnacked(pingAfter + pingWait)}
	if f.grpcListen, err = config.Listen(ctx, "tcp", o.GRPCAddr); err != nil {
		return nil, fmt.Errorf("gRPC: %w", err)
	}
	if f.httpListen, err = config.Listen(ctx, "tcp", o.HTTPAddr); err != nil {
		return nil, errors.Join(fmt.Errorf("HTTP: %w", err), closeListener("gRPC", f.grpcListen))
	}
	f.grpcListen = bound(f.grpcListen, connections(), m.tooMany.WithLabelValues("grpc"))
	f.httpListen = bound(f.httpListen, connections(), m.tooMany.WithLabelValues("http"))
	f.SetReady("starting")
	return f, nil
}

func closeListener(what string, l net.Listener) error {
	if err := l.Close(); err != nil && !errors.Is(err, net.ErrClosed) {
		return fmt.Errorf("close %s listener: %w", what, err)
	}
	return nil
}

// GRPCAddr is the address bound for gRPC.
func (f *Front) GRPCAddr() net.Addr { return f.grpcListen.Addr() }

// HTTPAddr is the address bound for HTTP.
func (f *Front) HTTPAddr() net.Addr { return f.httpListen.Addr() }

// Routes are the patterns that are answered over HTTP, sorted.
func (f *Front) Routes() []string { return slices.Clone(f.routes) }

// SetReady says why the server is not ready to be used, or with "" that it is.
// It is what /readyz and the gRPC health service tell.
func (f *Front) SetReady(reason string) {
	if reason == "" {
		f.unready.Store(nil)
		f.health.Resume()
		return
	}
	f.unready.Store(&reason)
	f.health.Shutdown()
}

// Close lets go of the addresses where Run was never called. Else Run has done
// so. Safe to call twice.
func (f *Front) Close() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.running || f.closed {
		return nil
	}
	f.closed = true
	f.grpc.Stop()
	return errors.Join(closeListener("gRPC", f.grpcListen), closeListener("HTTP", f.httpListen))
}
