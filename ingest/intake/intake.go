// Package intake takes telemetry in: it serves IntakeService, checks what comes
// against the berth's plan, hands it to the journal as it came and tells the
// source when it is on disk. It never changes a batch, stores nothing itself and
// knows no detector.
//
// Its invariant: a receipt names a sequence only when every batch up to it that
// was not refused is on disk.
//
//	source ──Hello──► plan settled, source claimed ──Welcome(last on disk)──►
//	source ──batch──► decode, check ──► journal ──► on disk ──Receipt──►
//	                      └─► Refusal (whole batch, or some columns)
//
// Three goroutines carry a stream: one takes frames in, the handler waits for the
// journal in order, one sends. A batch holds room in the window from the moment
// it is taken until its receipt is sent; with the window full nothing is read
// and HTTP/2 flow control holds the source back.
package intake

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"slices"
	"sync"
	"time"

	"buf.build/go/protovalidate"
	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"hawser/ingest/planbook"
	hawserv1 "hawser/proto/hawser/v1"
)

// Plans are the plans berths are under. Safe for concurrent use.
type Plans interface {
	// Current is asked for with every batch: it must answer from memory.
	Current(berth string) (planbook.Entry, bool)
	// Put puts a berth under a plan. Its error is planbook.ErrOtherPlan where the
	// berth is under another one and the terms do not let it replace that, planbook.ErrFull where
	// there are too many berths.
	Put(ctx context.Context, m *hawserv1.MooringPlan, t planbook.Terms) (planbook.Entry, error)
}

// Options say what a Server works with. Journal, Plans and Validator are
// required; zero elsewhere means the default.
type Options struct {
	Journal   Journal
	Plans     Plans
	Validator protovalidate.Validator

	// ClockTolerance is how far ahead of the server's clock a reading may be;
	// default 1 min. Clocks at sea are set by hand more often than one thinks.
	ClockTolerance time.Duration
	// Now is the server's clock; default time.Now.
	Now        func() time.Time
	Log        *slog.Logger          // default: none
	Registerer prometheus.Registerer // default: none

	limits limits // tests set lower ones
}

// limits bound what a server takes.
type limits struct {
	// Streams open at once.
	Streams int
	// Sources of a berth that have a stream open.
	Sources int
	// InFlight is the batches that one stream has taken and not yet receipted. Of their
	// bytes it has maxInFlightBytes at most.
	InFlight int
	// ReceiptEvery is the least time between two receipts of a stream. On an idle stream
	// a receipt goes out at once.
	ReceiptEvery time.Duration
	// HelloTimeout is how long a new stream may stay silent.
	HelloTimeout time.Duration
	// DrainTimeout is how long an ending stream waits for the journal.
	DrainTimeout time.Duration
}

// validate checks the options and puts the defaults in.
func (o *Options) validate() error {
	switch {
	case o.Journal == nil || o.Plans == nil || o.Validator == nil:
		return errors.New("intake: journal, plans and validator are required")
	case o.ClockTolerance < 0:
		return errors.New("intake: negative clock tolerance")
	}
	o.ClockTolerance = cmp.Or(o.ClockTolerance, time.Minute)
	l := &o.limits
	l.Streams = cmp.Or(l.Streams, 256)
	l.Sources = cmp.Or(l.Sources, 16)
	l.InFlight = cmp.Or(l.InFlight, 1024)
	l.ReceiptEvery = cmp.Or(l.ReceiptEvery, 5*time.Millisecond)
	l.HelloTimeout = cmp.Or(l.HelloTimeout, 10*time.Second)
	l.DrainTimeout = cmp.Or(l.DrainTimeout, 5*time.Second)
	if o.Now == nil {
		o.Now = time.Now
	}
	o.Log = cmp.Or(o.Log, slog.New(slog.DiscardHandler))
	return nil
}

// Server serves IntakeService. Safe for concurrent use.
type Server struct {
	hawserv1.UnimplementedIntakeServiceServer
	o     Options
	m     *metrics
	began time.Time

	// work is every goroutine and handler of the server.
	work sync.WaitGroup

	mu       sync.Mutex
	draining bool
	streams  map[*claim]struct{}
	berths   map[string]*berth // bounded by what Plans takes
}

// New makes a server, which is to serve from then on.
func New(o Options) (*Server, error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	return &Server{o: o, m: newMetrics(o.Registerer), began: o.Now(), streams: map[*claim]struct{}{}, berths: map[string]*berth{}}, nil
}

var errResume = status.Error(codes.Unavailable, "readings are kept again: send those without a receipt")

var errStopping = status.Error(codes.Unavailable, "server stopping")

// Drain ends every stream: what was taken is waited for and receipted, then the
// source is told to come back. New streams are turned away. Drain returns when
// the last stream and goroutine have ended or ctx has. Safe to call again.
func (s *Server) Drain(ctx context.Context) error {
	s.mu.Lock()
	s.draining = true
	for c := range s.streams {
		c.end(errStopping)
	}
	s.mu.Unlock()

	done := make(chan struct{})
	go func() { // ends with the last stream, each bounded by DrainTimeout
		s.work.Wait()
		close(done)
	}()
	select {
	case <-done:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("intake: streams still open: %w", ctx.Err())
	}
}

// Resume ends every stream, so that each source sends again what it has no receipt
// for.
func (s *Server) Resume() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, b := range s.berths {
		b.comeAgain(s.o.Now())
	}
	for c := range s.streams {
		c.end(errResume)
	}
}

// enter admits a stream.
func (s *Server) enter(c *claim) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.draining {
		return errStopping
	}
	if len(s.streams) >= s.o.limits.Streams {
		return status.Errorf(codes.ResourceExhausted, "%d streams are open, as many as this server takes", len(s.streams))
	}
	s.streams[c] = struct{}{}
	s.work.Add(1)
	s.m.streams.Inc()
	return nil
}

func (s *Server) leave(c *claim) {
	s.mu.Lock()
	delete(s.streams, c)
	s.mu.Unlock()
	s.m.streams.Dec()
	s.work.Done()
}

// Deliver serves one stream.
func (s *Server) Deliver(in stream) error {
	err := s.deliver(in)
	s.m.ended.WithLabelValues(reasonOf(err)).Inc()
	return err
}

func (s *Server) deliver(in stream) error {
	ctx, end := context.WithCancelCause(in.Context())
	defer end(nil)
	c := &claim{end: end}
	if err := s.enter(c); err != nil {
		return err
	}
	defer s.leave(c)

	h, plan, err := s.open(ctx, in)
	if err != nil {
		return s.turnedAway(ctx, h, err)
	}
	b := s.berth(h.GetBerth())
	s.recall(ctx, b)
	src, err := b.claim(ctx, c, h.GetSource(), s.o.limits.Sources)
	if err != nil {
		return s.turnedAway(ctx, h, err)
	}
	defer b.release(c, src)

	durable, err := s.o.Journal.LastSequence(ctx, b.name, src.name)
	if err != nil {
		return s.turnedAway(ctx, h, unavailable("berth %s: source %s: last sequence: %v", b.name, src.name, err))
	}
	err = in.Send(&hawserv1.DeliverResponse{Frame: &hawserv1.DeliverResponse_Welcome{Welcome: &hawserv1.Welcome{
		DurableSequence: durable, PlanFingerprint: plan.Fingerprint,
	}}})
	if err != nil {
		return s.turnedAway(ctx, h, err)
	}
	return newDelivery(s, b, src, in, durable).run(ctx, end)
}

// open settles what a stream is: its Hello and the plan it is checked by.
func (s *Server) open(ctx context.Context, in stream) (*hawserv1.Hello, planbook.Entry, error) {
	h, err := s.hello(ctx, in)
	if err != nil {
		return h, planbook.Entry{}, err
	}
	plan, err := s.settlePlan(ctx, h)
	return h, plan, err
}

// turnedAway is the end of a stream before its Welcome.
func (s *Server) turnedAway(ctx context.Context, h *hawserv1.Hello, err error) error {
	err = outcome(ctx, err)
	s.o.Log.Warn("stream turned away", "berth", h.GetBerth(), "source", h.GetSource(), "err", err)
	return err
}

// berth is the state of a berth that has a plan.
func (s *Server) berth(name string) *berth {
	s.mu.Lock()
	defer s.mu.Unlock()
	b := s.berths[name]
	if b == nil {
		b = newBerth(name, s.m, s.began)
		s.berths[name] = b
	}
	return b
}

// each looks at every berth, alone, in the order of their names.
func (s *Server) each(look func(*berth)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, name := range slices.Sorted(maps.Keys(s.berths)) {
		b := s.berths[name]
		b.mu.Lock()
		look(b)
		b.mu.Unlock()
	}
}

// inOrder gives a berth's sources in the order of their names; mu is held.
func (b *berth) inOrder() []*source {
	return slices.SortedFunc(maps.Values(b.sources), func(x, y *source) int { return cmp.Compare(x.name, y.name) })
}

// outcome is what a stream ends with: why it was told to end, else err.
func outcome(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		err = context.Cause(ctx)
	}
	if err == nil || errors.Is(err, io.EOF) {
		return nil
	}
	if _, ok := status.FromError(err); ok {
		return err
	}
	return status.FromContextError(err).Err()
}

func unavailable(format string, args ...any) error {
	return status.Errorf(codes.Unavailable, format, args...)
}
