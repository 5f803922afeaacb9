package access

import (
	"context"
	"fmt"
	"sync"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
)

// Method is nil where the table has a rule for a full method.
func (g *Guard) Method(name string) error {
	if _, ok := g.rules[name]; !ok {
		return fmt.Errorf("access: no rule for the method %s", name)
	}
	return nil
}

// Unary lets an RPC in or refuses it.
func (g *Guard) Unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (resp any, err error) {
	r, err := g.ruleOf(ctx, info.FullMethod)
	if err != nil {
		return nil, err
	}
	if r.open {
		return handler(ctx, req)
	}
	ctx, c, err := g.beginRPC(ctx, info.FullMethod, r)
	if err != nil {
		return nil, err
	}
	defer c.done()
	if err := c.admitMessage(req); err != nil {
		return nil, err
	}
	defer func() {
		err = c.settle(ctx, err)
		c.e.code = status.Code(err).String()
		g.audit.write("allowed", c.e)
	}()
	return handler(ctx, req)
}

// Stream lets a stream in or refuses it. What it is about is in its first
// message, which is looked at before the handler has it.
func (g *Guard) Stream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) (err error) {
	r, err := g.ruleOf(ss.Context(), info.FullMethod)
	if err != nil {
		return err
	}
	if r.open {
		return handler(srv, ss)
	}
	ctx, c, err := g.beginRPC(ss.Context(), info.FullMethod, r)
	if err != nil {
		return err
	}
	defer c.done()
	s := &stream{ServerStream: ss, ctx: ctx, call: c}
	defer func() {
		err = c.settle(ctx, err)
		if s.allowed() {
			c.e.code = status.Code(err).String()
			g.audit.write("ended", c.e)
		}
	}()
	return handler(srv, s)
}

func (g *Guard) ruleOf(ctx context.Context, method string) (rule, error) {
	r, ok := g.rules[method]
	if !ok { // a front that does not ask Method first
		return r, g.turnAway(entry{what: method, from: from(ctx)}, refuse(notAllowed, "no rule lets anybody call %s", method))
	}
	return r, nil
}

// stream is a server's stream whose messages are looked at.
type stream struct {
	grpc.ServerStream
	ctx  context.Context
	call *call

	mu    sync.Mutex // RecvMsg is called by one goroutine, allowed by another
	began bool       // the first message has been seen
	err   error      // why it, or a later one, is not taken
}

func (s *stream) Context() context.Context { return s.ctx }

func (s *stream) allowed() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.began && s.call.e.role != ""
}

// RecvMsg takes a message within the caller's rate.
func (s *stream) RecvMsg(m any) error {
	if err := s.ServerStream.RecvMsg(m); err != nil {
		return err
	}
	if err := s.ctx.Err(); err != nil {
		return s.call.settle(s.ctx, err)
	}
	if err := s.look(m); err != nil {
		return err
	}
	if message, ok := m.(proto.Message); ok {
		if err := s.call.share.take(s.ctx, proto.Size(message)); err != nil {
			return s.call.settle(s.ctx, refuse(tooMuch, "%v", err))
		}
	}
	return nil
}

// look looks at the first message and asks at each later one whether what held
// for that one still does: a ship's stay may have ended.
func (s *stream) look(m any) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.began {
		if s.err == nil {
			s.err = s.call.still()
		}
		return s.err
	}
	s.began = true
	if s.err = s.call.admitMessage(m); s.err == nil {
		s.call.g.audit.write("allowed", s.call.e)
	}
	return s.err
}

func (c *call) admitMessage(m any) error {
	message, ok := m.(proto.Message)
	if !ok {
		return c.g.turnAway(c.e, refuse(unfit, "%T is no message", m))
	}
	var a about
	if c.rule.message != nil {
		var err error
		if a, err = c.rule.message(message); err != nil {
			return c.g.turnAway(c.e, err)
		}
	}
	return c.admit(a, proto.Size(message))
}

// beginRPC begins an RPC by what its metadata and its connection show.
func (g *Guard) beginRPC(ctx context.Context, method string, r rule) (context.Context, *call, error) {
	md, _ := metadata.FromIncomingContext(ctx)
	s := shown{from: from(ctx), authorization: md.Get("authorization")}
	if p, ok := peer.FromContext(ctx); ok {
		if info, ok := p.AuthInfo.(credentials.TLSInfo); ok && len(info.State.PeerCertificates) > 0 {
			device := proofOfDevice(info.State.PeerCertificates)
			s.device = &device
		}
	}
	return g.begin(ctx, method, r, s)
}

func from(ctx context.Context) string {
	if p, ok := peer.FromContext(ctx); ok {
		return p.Addr.String()
	}
	return ""
}
