package journal

import (
	"context"
	"encoding/json"
	"fmt"
	"strconv"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/sync/semaphore"
)

// What may be on the way at once. Each message counts at least minCharge, so
// that the bound is 4,096 messages as well. The server's own bound for a stream
// is 10,000 messages or 128 MB, above which it drops; we stay under it.
const (
	inFlightBytes = 64 << 20
	minCharge     = 16 << 10
)

// Pending is a message on its way into the journal.
type Pending struct {
	done  chan struct{}
	pos   Position
	err   error
	taken bool // acknowledged

	began  time.Time // Append was called
	sent   time.Time // guarded by publisher.mu
	size   int
	charge int64
	to     *syncer // completes it after its acknowledgement
}

// Wait returns the entry's position once it is stored as the package promises.
// For an entry that was there before, it is the position of the source's newest.
// Safe for concurrent use, any number of times.
func (p *Pending) Wait(ctx context.Context) (Position, error) {
	select {
	case <-p.done:
		return p.pos, p.err
	default:
	}
	select {
	case <-p.done:
		return p.pos, p.err
	case <-ctx.Done():
		return 0, ctx.Err()
	}
}

// Seen reports, of an entry whose Wait has an error, whether followers may have been
// given it all the same.
func (p *Pending) Seen() bool {
	<-p.done
	return p.taken
}

// Done is closed when Wait does not wait.
func (p *Pending) Done() <-chan struct{} { return p.done }

// finished reports the outcome if there is one.
func (p *Pending) finished() (err error, ok bool) {
	select {
	case <-p.done:
		return p.err, true
	default:
		return nil, false
	}
}

// publisher sends messages and matches the server's acknowledgements to them.
// Acknowledgements come by number, so there is no timer, channel or goroutine a
// message.
type publisher struct {
	j      *Journal
	nc     *nats.Conn
	prefix string // of reply subjects; the message's number follows
	room   *semaphore.Weighted

	mu      sync.Mutex
	next    uint64
	waiting map[uint64]*Pending
	closed  error // why nothing more is taken
}

func newPublisher(j *Journal) *publisher {
	return &publisher{
		j: j, prefix: nats.NewInbox() + ".",
		room: semaphore.NewWeighted(inFlightBytes), waiting: make(map[uint64]*Pending),
	}
}

// bind gives the publisher its connection.
func (p *publisher) bind(nc *nats.Conn) error {
	p.nc = nc
	sub, err := nc.Subscribe(p.prefix+"*", p.acknowledged)
	if err != nil {
		return err
	}
	// Bounded by what is in flight.
	return sub.SetPendingLimits(-1, -1)
}

// publish hands a message to the server, waiting for room. What it returns is
// completed by acknowledged, expire or abandon.
func (p *publisher) publish(ctx context.Context, m *nats.Msg, to *syncer) (*Pending, error) {
	w := &Pending{done: make(chan struct{}), size: len(m.Data), charge: int64(max(len(m.Data), minCharge)), to: to, began: time.Now()}
	if err := p.acquire(ctx, w.charge); err != nil {
		return nil, err
	}
	p.mu.Lock()
	if err := p.closed; err != nil {
		p.mu.Unlock()
		p.room.Release(w.charge)
		return nil, err
	}
	p.next++
	id := p.next
	w.sent = time.Now()
	p.waiting[id] = w
	p.mu.Unlock()
	p.j.m.inFlight.Inc()
	p.j.m.inFlightBytes.Add(float64(w.size))

	m.Reply = p.prefix + strconv.FormatUint(id, 10)
	if err := p.nc.PublishMsg(m); err != nil {
		if p.take(id) != nil {
			p.complete(w, p.j.outage(err))
		}
		_, err := w.Wait(context.Background())
		return nil, err
	}
	return w, nil
}

// acquire waits for room, for the caller's context and for the journal.
func (p *publisher) acquire(ctx context.Context, n int64) error {
	if p.room.TryAcquire(n) {
		return nil
	}
	ctx, stop := p.j.within(ctx)
	defer stop()
	if err := p.room.Acquire(ctx, n); err != nil {
		return context.Cause(ctx)
	}
	return nil
}

func (p *publisher) take(id uint64) *Pending {
	p.mu.Lock()
	defer p.mu.Unlock()
	w := p.waiting[id]
	delete(p.waiting, id)
	return w
}

// acknowledged runs on the subscription's goroutine, in the server's order.
func (p *publisher) acknowledged(m *nats.Msg) {
	id, err := strconv.ParseUint(m.Subject[len(p.prefix):], 10, 64)
	if err != nil {
		return
	}
	w := p.take(id)
	if w == nil {
		return // timed out before
	}
	pos, err := parseAck(m)
	if err != nil {
		if p.j.embedded() {
			err = p.j.fail(err)
		}
		p.complete(w, err)
		return
	}
	w.pos, w.taken = pos, true
	w.to.add(w)
}

// complete ends a message's way. The caller took it out of waiting.
func (p *publisher) complete(w *Pending, err error) {
	if w.err = err; err != nil {
		w.pos = 0
		p.j.m.failedAppends.Inc()
	}
	p.j.m.inFlight.Dec()
	p.j.m.inFlightBytes.Sub(float64(w.size))
	close(w.done)
	p.room.Release(w.charge)
}

// expire fails what has waited longer than limit for its acknowledgement, until
// the journal is closed.
func (p *publisher) expire(limit time.Duration) {
	tick := time.NewTicker(limit / 4)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			p.expireOnce(limit)
		case <-p.j.ctx.Done():
			return
		}
	}
}

func (p *publisher) expireOnce(limit time.Duration) {
	p.mu.Lock()
	var late []*Pending
	for id, w := range p.waiting {
		if time.Since(w.sent) > limit {
			late = append(late, w)
			delete(p.waiting, id)
		}
	}
	p.mu.Unlock()
	if len(late) == 0 {
		return
	}
	err := p.j.outage(fmt.Errorf("no acknowledgement within %v", limit))
	for _, w := range late {
		p.complete(w, err)
	}
}

// abandon fails all that waits for an acknowledgement: the connection they
// would come by is gone. With last nothing more is taken.
func (p *publisher) abandon(err error, last bool) {
	p.mu.Lock()
	waiting := p.waiting
	p.waiting = make(map[uint64]*Pending)
	if last && p.closed == nil {
		p.closed = err
	}
	p.mu.Unlock()
	for _, w := range waiting {
		p.complete(w, err)
	}
}

// parseAck reads an acknowledgement.
func parseAck(m *nats.Msg) (Position, error) {
	if len(m.Data) == 0 {
		return 0, fmt.Errorf("%w: no stream took it (status %s)", ErrUnavailable, m.Header.Get("Status"))
	}
	var ack struct {
		jetstream.PubAck
		Error *jetstream.APIError `json:"error"`
	}
	err := json.Unmarshal(m.Data, &ack)
	switch refused := ack.Error; {
	case err != nil:
		return 0, fmt.Errorf("acknowledgement: %w", err)
	case refused != nil && isWrongLast(refused.ErrorCode):
		return 0, fmt.Errorf("another writer's entry is newer: %w", refused)
	case refused != nil && refused.Code >= 500: // its disk is full, or it has no leader
		return 0, fmt.Errorf("%w: %w", ErrUnavailable, refused)
	case refused != nil:
		return 0, refused
	case ack.Stream == "" || ack.Sequence == 0:
		return 0, fmt.Errorf("acknowledgement without a sequence: %q", m.Data)
	}
	return Position(ack.Sequence), nil
}

// drain waits until nothing is on the way, at most for d.
func (p *publisher) drain(d time.Duration) {
	ctx, cancel := context.WithTimeout(context.Background(), d)
	defer cancel()
	if p.room.Acquire(ctx, inFlightBytes) == nil {
		p.room.Release(inFlightBytes)
	}
}
