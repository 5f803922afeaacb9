package front

import (
	"context"
	"runtime/debug"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"
	"google.golang.org/grpc/status"
)

const (
	// maxMessage bounds a message either way: a batch is at most 1 MiB, and one
	// twice that is a mistake.
	maxMessage = 2 << 20
	// maxStreams bounds the calls of one connection.
	maxStreams = 1000
	// A peer that has not answered a ping for pingAfter+pingWait is gone: a dead
	// link is known well within a minute.
	pingAfter = 20 * time.Second
	pingWait  = 10 * time.Second
	// idleCall is how long a connection may be without a call: whoever leaves them open
	// is not to keep others out.
	idleCall = 5 * time.Minute
	// clientPing is how often a client may ping.
	clientPing = 5 * time.Second
)

func (f *Front) newGRPC(m *metrics) (*grpc.Server, error) {
	g := calls{f: f, m: m}
	options := []grpc.ServerOption{
		grpc.MaxRecvMsgSize(maxMessage), grpc.MaxSendMsgSize(maxMessage), grpc.MaxConcurrentStreams(maxStreams),
		grpc.KeepaliveParams(keepalive.ServerParameters{Time: pingAfter, Timeout: pingWait, MaxConnectionIdle: idleCall}),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: clientPing, PermitWithoutStream: true}),
		grpc.ConnectionTimeout(10 * time.Second),
		grpc.WaitForHandlers(true), // a stop leaves no handler behind
		grpc.ChainUnaryInterceptor(g.unary), grpc.ChainStreamInterceptor(g.stream),
	}
	if f.o.Guard != nil {
		options = append(options, grpc.Creds(credentials.NewTLS(f.o.Guard.GRPCTLS())),
			grpc.ChainUnaryInterceptor(f.o.Guard.Unary), grpc.ChainStreamInterceptor(f.o.Guard.Stream))
	}
	s := grpc.NewServer(options...)
	for _, service := range f.o.Services {
		service.Register(s)
	}
	grpc_health_v1.RegisterHealthServer(s, f.health)
	for name := range s.GetServiceInfo() {
		f.health.SetServingStatus(name, grpc_health_v1.HealthCheckResponse_SERVING)
	}
	reflection.Register(s)
	return s, f.ruled(s)
}

// ruled is an error where the guard has no rule for a method of the server.
func (f *Front) ruled(s *grpc.Server) error {
	if f.o.Guard == nil {
		return nil
	}
	for service, info := range s.GetServiceInfo() {
		for _, method := range info.Methods {
			if err := f.o.Guard.Method("/" + service + "/" + method.Name); err != nil {
				return err
			}
		}
	}
	return nil
}

// calls turns a handler's panic into an error of its call, and counts calls.
type calls struct {
	f *Front
	m *metrics
}

// settle ends a call: err becomes what the caller is told. Deferred.
func (g calls) settle(method string, err *error) {
	if p := recover(); p != nil {
		g.f.o.Log.Error("panic in a gRPC call", "method", method, "panic", p, "stack", string(debug.Stack()))
		g.m.panics.WithLabelValues("grpc").Inc()
		*err = status.Error(codes.Internal, "internal error")
	}
	g.m.calls.WithLabelValues(method, status.Code(*err).String()).Inc()
}

func (g calls) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (resp any, err error) {
	defer g.settle(info.FullMethod, &err)
	return handler(ctx, req)
}

func (g calls) stream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) (err error) {
	defer g.settle(info.FullMethod, &err)
	return handler(srv, ss)
}
