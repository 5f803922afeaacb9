package intake

import (
	"context"
	"sync"
	"sync/atomic"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"hawser/detect/reading"
	"hawser/ingest/planbook"
)

// berth is what the streams of a berth share.
type berth struct {
	name string
	m    berthMetrics
	// newest is the time of the newest reading taken, Unix nanoseconds.
	newest atomic.Int64

	mu      sync.Mutex
	sources map[string]*source
	bound   *binding
	ahead   ClockAhead
	// recalled: the sources from before the server started are known.
	recalled bool
	without  time.Time     // when its sources were last without this server, its start at first
	back     time.Time     // when the first of them was back since
	moved    chan struct{} // closed when a source has sent, or will not; nil while nobody waits
}

// source is a sender of batches. Its stream, of which there is one at a time,
// owns what is not said to be guarded.
type source struct {
	name string
	// held has a token while a stream owns the source.
	held chan struct{}

	// Guarded by berth.mu.
	claims int    // streams that own it or wait to
	last   *claim // the newest of them
	heard  heard
	flood  Flood

	channels map[reading.Channel]*channel
	share    share
	bound    *binding // what the channels were found good by, and the share is of
}

// claim is a stream's wish to be the only one of its source.
type claim struct{ end context.CancelCauseFunc }

// binding is a plan as intake looks at it.
type binding struct {
	fingerprint string
	hasPin      map[string]bool // by line
}

func newBerth(name string, m *metrics, began time.Time) *berth {
	return &berth{name: name, m: m.berth(name), sources: map[string]*source{}, without: began}
}

// bind is the binding of a plan, the same one for the same fingerprint.
func (b *berth) bind(e planbook.Entry) *binding {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.bound == nil || b.bound.fingerprint != e.Fingerprint {
		hasPin := make(map[string]bool, len(e.Plan.Lines))
		for i := range e.Plan.Lines {
			hasPin[e.Plan.Lines[i].ID] = e.Plan.Lines[i].Instrumented
		}
		b.bound = &binding{fingerprint: e.Fingerprint, hasPin: hasPin}
	}
	return b.bound
}

// see moves the berth's newest reading on.
func (b *berth) see(t int64) {
	for {
		was := b.newest.Load()
		if t <= was || b.newest.CompareAndSwap(was, t) {
			return
		}
	}
}

// claim makes c the only stream of a source: an older one is ended and waited
// for, so that what it handed over is on disk, or known not to be, before c asks
// where to go on.
func (b *berth) claim(ctx context.Context, c *claim, name string, limit int) (*source, error) {
	b.mu.Lock()
	src, err := b.source(name, limit)
	if err != nil {
		b.mu.Unlock()
		return nil, err
	}
	older := src.last
	src.last = c
	src.claims++
	b.mu.Unlock()

	if older != nil {
		older.end(status.Errorf(codes.Aborted, "berth %s: source %s: a newer stream took over", b.name, name))
	}
	select {
	case src.held <- struct{}{}:
		return src, nil
	case <-ctx.Done():
		b.forget(c, src)
		return nil, context.Cause(ctx)
	}
}

// source finds or makes a source; mu is held. Beyond the limit the room of one
// that has no stream is used again: all it loses is which readings are repeats.
func (b *berth) source(name string, limit int) (*source, error) {
	if src := b.sources[name]; src != nil {
		return src, nil
	}
	if len(b.sources) >= limit {
		for other, src := range b.sources {
			if src.claims == 0 {
				delete(b.sources, other)
				break
			}
		}
	}
	if len(b.sources) >= limit {
		return nil, status.Errorf(codes.ResourceExhausted,
			"berth %s: source %s: %d sources are connected, as many as a berth takes", b.name, name, limit)
	}
	src := &source{name: name, held: make(chan struct{}, 1), channels: map[reading.Channel]*channel{}}
	b.sources[name] = src
	return src, nil
}

func (b *berth) release(c *claim, src *source) {
	<-src.held
	b.forget(c, src)
}

func (b *berth) forget(c *claim, src *source) {
	b.mu.Lock()
	defer b.mu.Unlock()
	src.claims--
	if src.last == c {
		src.last = nil
	}
	b.news()
}
