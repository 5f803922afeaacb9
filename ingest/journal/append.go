package journal

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// lane keeps one source's entries in order, once, and without a hole.
//
// Inside the process this journal is the only writer and the server takes what
// it is sent in order or fails for good, so a lane only has to remember the
// newest sequence. Outside, a message can be lost while its successor is taken,
// and another process can write the same source; there a lane has one entry on
// the way at a time, and the server checks that the subject's last message is
// the one the lane thinks (Nats-Expected-Last-Subject-Sequence). The server's own
// window of message ids is not used: it forgets, and holds a map of every id.
type lane struct {
	users int           // using it or waiting to; guarded by lanes.mu
	hold  chan struct{} // a mutex that a context can leave, for what follows

	loaded bool
	broken error    // why no more is taken until LastSequence
	last   uint64   // newest source sequence given to the server
	pos    Position // outside: the subject's last message
	tail   *Pending // the newest entry's way; nil when it was there before
}

const maxLanes = 4096 // idle ones above this are forgotten and read again when needed

// lanes is the lanes by subject.
type lanes struct {
	mu sync.Mutex
	m  map[string]*lane
}

// use takes a subject's lane for the caller alone until done is called.
func (l *lanes) use(ctx context.Context, subject string) (ln *lane, done func(), err error) {
	l.mu.Lock()
	ln = l.m[subject]
	if ln == nil {
		if len(l.m) >= maxLanes {
			l.forgetLocked()
		}
		ln = &lane{hold: make(chan struct{}, 1)}
		l.m[subject] = ln
	}
	ln.users++
	l.mu.Unlock()
	leave := func() {
		l.mu.Lock()
		ln.users--
		l.mu.Unlock()
	}
	select {
	case ln.hold <- struct{}{}:
		return ln, func() { <-ln.hold; leave() }, nil
	case <-ctx.Done():
		leave()
		return nil, nil, ctx.Err()
	}
}

// forgetLocked drops lanes that nobody uses and that have nothing on the way;
// they are read again when needed.
func (l *lanes) forgetLocked() {
	for subject, ln := range l.m {
		idle := ln.users == 0 && ln.broken == nil
		if idle && ln.tail != nil {
			err, done := ln.tail.finished()
			idle = done && err == nil
		}
		if idle {
			delete(l.m, subject)
		}
	}
}

// Append gives an entry to the journal and returns before it is stored; Wait on
// what it returns. e and its Data may be used again at once. It blocks while
// 64 MiB or 4,096 entries are on the way, and with a server outside until the
// source's entry before is acknowledged. An entry at or below its source's newest
// sequence is not stored again and counts as stored once the newest is.
//
// Entries of one source are stored in the order of the calls, so calls for one
// source must not be concurrent with each other. When an entry fails, later ones
// of its source are refused with ErrBroken until LastSequence is asked.
func (j *Journal) Append(ctx context.Context, e *Entry) (*Pending, error) {
	if err := e.validate(); err != nil {
		return nil, err
	}
	if err := j.usable(); err != nil {
		return nil, err
	}
	subject := e.subject()
	ln, done, err := j.lanes.use(ctx, subject)
	if err != nil {
		return nil, err
	}
	defer done()
	if err := j.ready(ctx, ln, subject); err != nil {
		return nil, fmt.Errorf("berth %s: source %s: %w", e.Berth, e.Source, err)
	}
	if e.SourceSequence <= ln.last {
		j.m.repeated.Inc()
		if ln.tail == nil {
			ln.tail = storedBefore(ln.pos)
		}
		return ln.tail, nil
	}
	m := &nats.Msg{Subject: subject, Data: e.Data, Header: e.header()}
	if !j.embedded() {
		m.Header[jetstream.ExpectedLastSubjSeqHeader] = []string{fmt.Sprint(uint64(ln.pos))}
	}
	w, err := j.pub.publish(ctx, m, j.telemetrySync)
	if err != nil {
		return nil, fmt.Errorf("berth %s: source %s: sequence %d: %w", e.Berth, e.Source, e.SourceSequence, err)
	}
	ln.last, ln.tail = e.SourceSequence, w
	return w, nil
}

// ready brings a lane to where the next entry can be published.
func (j *Journal) ready(ctx context.Context, ln *lane, subject string) error {
	if ln.tail != nil {
		if !j.embedded() {
			if _, err := ln.tail.Wait(ctx); err != nil && ctx.Err() != nil {
				return ctx.Err()
			}
		}
		if err, done := ln.tail.finished(); done {
			if err != nil && ln.broken == nil {
				ln.broken = err
			}
			ln.pos = ln.tail.pos
		}
	}
	if ln.broken != nil {
		return fmt.Errorf("%w: %w", ErrBroken, ln.broken)
	}
	if ln.loaded {
		return nil
	}
	return j.load(ctx, ln, subject)
}

// load reads a lane's newest entry from the server.
func (j *Journal) load(ctx context.Context, ln *lane, subject string) error {
	ln.loaded, ln.last, ln.pos = false, 0, 0
	msg, err := j.newest(ctx, subject)
	if err != nil {
		return j.readError(err)
	}
	if msg != nil {
		e, err := parseEntry(msg.Subject, msg.Header)
		if err != nil {
			return err
		}
		ln.last, ln.pos = e.SourceSequence, Position(msg.Sequence)
	}
	ln.loaded, ln.broken, ln.tail = true, nil, nil
	return nil
}

// Newest is the newest entry of each source of a berth.
func (j *Journal) Newest(ctx context.Context, berth string) ([]Entry, error) {
	if err := checkToken("berth", berth); err != nil {
		return nil, err
	}
	subjects, err := j.subjects(ctx, j.telemetry, telemetryPrefix+berth+".*")
	if err != nil {
		return nil, err
	}
	var all []Entry
	for _, subject := range subjects {
		msg, err := j.newest(ctx, subject)
		if err != nil {
			return nil, j.readError(err)
		}
		if msg == nil {
			continue
		}
		e, err := parseEntry(msg.Subject, msg.Header)
		if err != nil {
			return nil, err
		}
		e.Data, e.Position, e.Stored = msg.Data, Position(msg.Sequence), msg.Time
		all = append(all, *e)
	}
	return all, nil
}

// newest is the newest readable message of a subject, nil if there is none.
func (j *Journal) newest(ctx context.Context, subject string) (*jetstream.RawStreamMsg, error) {
	msg, err := j.telemetry.GetLastMsgForSubject(ctx, subject)
	if !errors.Is(err, jetstream.ErrMsgNotFound) {
		return msg, err
	}
	// So it is too when the newest is there and damaged: look before it.
	info, err := j.telemetry.Info(ctx, jetstream.WithSubjectFilter(subject))
	if err != nil || info.State.Subjects[subject] == 0 {
		return nil, err
	}
	first, last := bounds(info.State)
	for pos := last; pos >= first; pos-- {
		msg, err := j.telemetry.GetMsg(ctx, uint64(pos))
		var refused *jetstream.APIError
		switch {
		case err == nil && msg.Subject == subject:
			return msg, nil
		case err != nil && !errors.Is(err, jetstream.ErrMsgNotFound) && !errors.As(err, &refused):
			return nil, err
		}
	}
	return nil, nil
}

// LastSequence is the newest sequence of a source, stored as promised; 0 when the
// journal has none, or none any more. What is on the way is waited for. After a failed
// entry it says where the source must go on, and lets it.
func (j *Journal) LastSequence(ctx context.Context, berth, source string) (uint64, error) {
	e := Entry{Berth: berth, Source: source, SourceSequence: 1}
	if err := e.validate(); err != nil {
		return 0, err
	}
	if err := j.usable(); err != nil {
		return 0, err
	}
	ln, done, err := j.lanes.use(ctx, e.subject())
	if err != nil {
		return 0, err
	}
	defer done()
	if ln.tail != nil {
		if _, err := ln.tail.Wait(ctx); err == nil && j.embedded() {
			return ln.last, nil
		} else if ctx.Err() != nil {
			return 0, ctx.Err()
		}
	}
	if ln.loaded && ln.tail == nil && j.embedded() {
		return ln.last, nil
	}
	if !j.pubConn.IsConnected() {
		return 0, j.outage(nats.ErrDisconnected) // where to go on, but not yet
	}
	if err := j.load(ctx, ln, e.subject()); err != nil {
		return 0, fmt.Errorf("berth %s: source %s: %w", berth, source, err)
	}
	return ln.last, nil
}

// storedBefore is the way of an entry that needs none.
func storedBefore(pos Position) *Pending {
	p := &Pending{done: make(chan struct{}), pos: pos}
	close(p.done)
	return p
}

// stored counts entries that are stored as promised. It runs before their Wait
// returns.
func (j *Journal) stored(ws []*Pending) {
	now := time.Now()
	for _, w := range ws {
		j.m.appended.Inc()
		j.m.appendedBytes.Add(float64(w.size))
		j.m.receipt.Observe(now.Sub(w.began).Seconds())
		j.pub.complete(w, nil)
	}
}
