// Package front holds the two listeners people and programs come in by, one for
// gRPC and one for HTTP, and their lifecycle. It knows no service: it is handed
// registrars and handlers. Its invariant: both addresses are bound before New
// returns, and when Run returns nothing is served any more.
//
//	:grpc ─► keepalive, limits, recover, count ─► registered services, health, reflection
//	:http ─► host check, timeouts, recover, count ─► / page   /metrics /healthz /readyz
//
// There is no TLS and nobody logs in, so it listens on loopback only unless told
// otherwise, and then answers only requests addressed to loopback: a page from
// elsewhere cannot reach it through a name that points here.
package front

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
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

// Options are what a Front needs. Log, Registerer and Gatherer are required.
type Options struct {
	// GRPCAddr and HTTPAddr are host:port; port 0 takes a free one. Empty means
	// 127.0.0.1:7411 and 127.0.0.1:7410.
	GRPCAddr, HTTPAddr string
	// AllowRemote lets the addresses be other than loopback. What is served is
	// then open to whoever reaches it.
	AllowRemote bool

	Services []Registrar
	// Pages answers what is not one of the front's own paths; nil for nothing.
	Pages http.Handler
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
	if o.AllowRemote {
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
	var config net.ListenConfig
	grpcListen, err := config.Listen(ctx, "tcp", o.GRPCAddr)
	if err != nil {
		return nil, fmt.Errorf("gRPC: %w", err)
	}
	httpListen, err := config.Listen(ctx, "tcp", o.HTTPAddr)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("HTTP: %w", err), closeListener("gRPC", grpcListen))
	}
	f := &Front{o: o, grpcListen: grpcListen, httpListen: httpListen, health: health.NewServer()}
	m := newMetrics(o.Registerer)
	f.grpc = f.newGRPC(m)
	f.http = f.newHTTP(m)
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
