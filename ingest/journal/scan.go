package journal

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// What a scan has asked for and not yet read, at most.
const (
	prefetchMessages = 1024
	prefetchBytes    = 4 << 20
)

// heartbeat is how often the server says it is there when it has nothing to
// say; two missed mean that the consumer is lost.
const heartbeat = 5 * time.Second

// message is one message of a stream.
type message struct {
	pos    Position
	stored time.Time
	msg    jetstream.Msg
}

// scan reads a stream forward through a consumer without acknowledgements. A
// lost consumer, a gap in its deliveries or an outage is mended by a new one
// from the next position, or where the stream no longer has the last one read, it
// ends with errWentBack. Not safe for concurrent use.
type scan struct {
	j      *Journal
	stream jetstream.Stream
	filter string // "" for all
	next   Position

	last      message // read
	cons      jetstream.Consumer
	iter      jetstream.MessagesContext
	epoch     context.Context // of the connection that iter is of
	unhook    func() bool     // from it
	delivered uint64          // by cons
	setbacks  int             // since the last message
	ahead     *message
	parked    time.Time
}

func newScan(j *Journal, stream jetstream.Stream, filter string, from Position) *scan {
	return &scan{j: j, stream: stream, filter: filter, next: max(from, 1)}
}

// peek returns the next message without taking it.
func (s *scan) peek(ctx context.Context) (message, error) {
	if s.ahead == nil {
		m, err := s.read(ctx)
		if err != nil {
			return message{}, err
		}
		s.ahead = &m
	}
	return *s.ahead, nil
}

// read waits for the next message. Its error is the cause of ctx's end.
func (s *scan) read(ctx context.Context) (message, error) {
	if s.ahead != nil {
		m := *s.ahead
		s.ahead = nil
		return m, nil
	}
	for {
		m, err := s.receive(ctx)
		if err == nil && m.pos >= s.next {
			s.next, s.setbacks = m.pos+1, 0
			s.last = message{pos: m.pos, stored: m.stored}
			return m, nil
		}
		if errors.Is(err, errWentBack) {
			return message{}, err
		}
		if ctx.Err() != nil {
			return message{}, context.Cause(ctx)
		}
		if err == nil {
			continue // seen before
		}
		s.setback(ctx, err)
	}
}

// receive takes one message from the consumer, making it if there is none.
func (s *scan) receive(ctx context.Context) (message, error) {
	if s.iter == nil {
		if err := s.open(ctx); err != nil {
			return message{}, err
		}
	}
	msg, err := s.iter.Next(jetstream.NextContext(ctx))
	if err != nil {
		return message{}, err
	}
	meta, err := msg.Metadata()
	if err != nil {
		return message{}, err
	}
	if meta.Sequence.Consumer != s.delivered+1 {
		return message{}, fmt.Errorf("delivery %d after %d", meta.Sequence.Consumer, s.delivered)
	}
	s.delivered++
	return message{pos: Position(meta.Sequence.Stream), stored: meta.Timestamp.UTC(), msg: msg}, nil
}

func (s *scan) open(ctx context.Context) (err error) {
	epoch := s.j.epoch.now()
	if has, _, err := s.j.holds(ctx, s.stream, s.last.pos, s.last.stored); err != nil {
		return err
	} else if !has {
		return errWentBack
	}
	s.cons, err = s.stream.CreateConsumer(ctx, jetstream.ConsumerConfig{
		DeliverPolicy: jetstream.DeliverByStartSequencePolicy, OptStartSeq: uint64(s.next),
		AckPolicy: jetstream.AckNonePolicy, FilterSubject: s.filter,
		MemoryStorage: true, Replicas: 1, InactiveThreshold: time.Minute,
	})
	if err != nil {
		return err
	}
	s.delivered = 0
	iter, err := s.cons.Messages(
		jetstream.PullMaxMessagesWithBytesLimit(prefetchMessages, prefetchBytes),
		jetstream.PullHeartbeat(heartbeat), jetstream.WithMessagesErrOnMissingHeartbeat(true))
	if err != nil {
		return err
	}
	s.iter, s.epoch, s.unhook = iter, epoch, context.AfterFunc(epoch, iter.Stop)
	return nil
}

// holds reports whether a stream has the message at a position that was stored at
// a time, or had it: what the limits or damage took from before its end counts as
// held. A zero time is any, position 0 held by all. last is the stream's end.
func (j *Journal) holds(ctx context.Context, s jetstream.Stream, pos Position, stored time.Time) (has bool, last Position, err error) {
	if pos == 0 {
		return true, 0, nil
	}
	info, err := s.Info(ctx)
	if err != nil {
		return false, 0, j.readError(err)
	}
	first, last := bounds(info.State)
	if pos > last || stored.IsZero() || pos < first {
		return pos <= last, last, nil
	}
	m, err := s.GetMsg(ctx, uint64(pos))
	switch {
	case errors.Is(err, jetstream.ErrMsgNotFound):
		return true, last, nil
	case err != nil:
		return false, 0, j.readError(err)
	}
	return m.Time.Equal(stored), last, nil
}

// setback gives the consumer up and waits a little longer each time.
func (s *scan) setback(ctx context.Context, err error) {
	s.close()
	s.j.m.restarts.Inc()
	if s.setbacks == 0 {
		s.j.log.Warn("journal reader starts over", "stream", s.stream.CachedInfo().Config.Name, "position", s.next, "err", err)
	}
	wait := min(20*time.Millisecond<<min(s.setbacks, 10), 2*time.Second)
	s.setbacks++
	select {
	case <-time.After(wait):
	case <-ctx.Done():
	}
}

// close gives the consumer back, which at the journal's end is left to expire.
// The scan can be read again.
func (s *scan) close() {
	if s.iter != nil {
		s.unhook()
		s.iter.Stop()
	}
	if s.cons != nil && s.j.readConn.IsConnected() && s.j.ctx.Err() == nil {
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		err := s.stream.DeleteConsumer(ctx, s.cons.CachedInfo().Name)
		if err != nil && !errors.Is(err, jetstream.ErrConsumerNotFound) {
			s.j.log.Debug("journal reader left its consumer to expire", "err", err)
		}
	}
	s.cons, s.iter = nil, nil
}

// epoch is a context for each connection to the server: it ends when the client
// has connected anew. Consumers of the one before may be gone with their server,
// which heartbeats would tell only seconds later.
type epoch struct {
	mu  sync.Mutex
	ctx context.Context
	end context.CancelFunc
}

func (e *epoch) now() context.Context {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.ctx == nil {
		e.ctx, e.end = context.WithCancel(context.Background())
	}
	return e.ctx
}

func (e *epoch) next() {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.ctx != nil {
		e.end()
		e.ctx = nil
	}
}
