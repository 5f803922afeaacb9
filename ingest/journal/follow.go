package journal

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// errWentBack ends the filling of a page: the connection is another, or the server
// has lost what was read. Whoever is on the page looks whether he had read that.
var errWentBack = errors.New("journal: went back")

// FollowOptions says who reads what from where.
type FollowOptions struct {
	// Reader names the reader in metrics, OnPressure and OnLoss, and registers it
	// until the journal is closed: after Follow has returned it still counts as
	// standing where it was. "" registers nobody. At most 1,024 names.
	Reader string
	// Berth whose entries are wanted; "" for all.
	Berth string
	// After is the newest position already handled; 0 begins at the oldest.
	After Position
	// AfterStored, when not zero, is Stored of the entry at After. With it a
	// journal that was rolled back is noticed even when it has grown past After
	// again.
	AfterStored time.Time
}

// RolledBackError says that the journal no longer has, or has another entry at,
// the position a reader remembers: its tail was lost in a power cut or to
// damage. The sources send again what was not receipted, so a reader goes on
// after Resume and drops what it knows by (source, sequence).
type RolledBackError struct {
	After, Last Position
	// Resume is the newest position that is sure to be one the reader has
	// handled: the newest stored no later than AfterStored, or Last if that was
	// not given.
	Resume Position
}

func (e *RolledBackError) Error() string {
	return fmt.Sprintf("journal: position %d was rolled back: the journal ends at %d; resume after %d", e.After, e.Last, e.Resume)
}

// Loss is positions a reader could not be given.
type Loss struct {
	Reader   string
	From, To Position // inclusive, of all berths
	// Damaged: they were held and are gone; else the limits dropped them before
	// the reader came to them.
	Damaged bool
}

// Follow gives every entry after a position to handle, in order and at least
// once, and goes on with new ones as they are acknowledged, until ctx ends, the
// journal is closed (ErrClosed) or handle returns an error; it always returns an
// error that wraps one of these, or a *RolledBackError. The entry is valid in the
// call only; its Data is shared and must not be changed, but may be kept.
//
// A lost connection or server-side consumer is waited out; then it is looked whether the
// journal still has what was passed. What cannot be given is skipped, counted and told
// to OnLoss.
func (j *Journal) Follow(ctx context.Context, o FollowOptions, handle func(*Entry) error) error {
	if o.Berth != "" {
		if err := checkToken("berth", o.Berth); err != nil {
			return err
		}
	}
	f := &follower{j: j, o: o, pos: o.After, stored: o.AfterStored, handle: handle, w: waiter{berth: o.Berth, wake: make(chan struct{}, 1)}}
	epoch := j.epoch.now()
	if err := f.checkRollback(ctx); err != nil {
		return err
	}
	var err error
	if f.r, err = j.readers.register(o); err != nil {
		return err
	}
	next := f.pos + 1
	for {
		pg, err := j.pages.acquire(next)
		if err != nil {
			return err
		}
		if pg.epoch == epoch {
			next, err = f.readPage(ctx, pg)
		} else {
			// The server may have come back without what was passed.
			epoch = pg.epoch
			err = f.await(ctx, f.checkRollback)
			next = f.pos + 1
		}
		f.r.left()
		j.pages.release(pg)
		if errors.Is(err, errWentBack) {
			err = f.await(ctx, f.checkRollback)
			next = f.pos + 1
		}
		if err != nil {
			return err
		}
	}
}

// follower is one call of Follow.
type follower struct {
	j      *Journal
	o      FollowOptions
	r      *reader
	pos    Position  // passed: handled or of no concern
	stored time.Time // of the entry at pos, zero where not known
	begun  bool      // something was passed, so a gap is a loss
	handle func(*Entry) error
	w      waiter
	out    Entry
}

// await tries until the server answers.
func (f *follower) await(ctx context.Context, try func(context.Context) error) error {
	for wait := 20 * time.Millisecond; ; wait = min(2*wait, 2*time.Second) {
		err := try(ctx)
		if !errors.Is(err, ErrUnavailable) {
			return err
		}
		select {
		case <-time.After(wait):
		case <-ctx.Done():
			return ctx.Err()
		case <-f.j.ctx.Done():
			return ErrClosed
		}
	}
}

// checkRollback compares what was passed with the journal.
func (f *follower) checkRollback(ctx context.Context) error {
	has, last, err := f.j.holds(ctx, f.j.telemetry, f.pos, f.stored)
	if err != nil || has {
		return err
	}
	resume := last
	if !f.stored.IsZero() {
		if resume, err = f.j.storedBy(ctx, f.stored, last); err != nil {
			return err
		}
	}
	return &RolledBackError{After: f.pos, Last: last, Resume: resume}
}

// readPage handles a page's entries to its end and returns where to go on.
func (f *follower) readPage(ctx context.Context, pg *page) (Position, error) {
	for i := 0; ; {
		f.r.on(pg)
		entries, full, err := pg.after(i, &f.w)
		if err != nil {
			return 0, err
		}
		if full {
			return pg.resume, nil
		}
		if len(entries) == 0 {
			select {
			case <-f.w.wake:
				continue
			case <-ctx.Done():
				pg.leave(&f.w)
				return 0, ctx.Err()
			case <-f.j.ctx.Done():
				pg.leave(&f.w)
				return 0, ErrClosed
			}
		}
		for _, e := range entries {
			if err := f.pass(ctx, e); err != nil {
				return 0, err
			}
		}
		i += len(entries)
	}
}

// pass handles an entry if it is wanted.
func (f *follower) pass(ctx context.Context, e *Entry) error {
	if e.Position <= f.pos {
		return nil
	}
	if e.Position != f.pos+1 && (f.begun || f.o.After > 0) {
		f.lost(ctx, f.pos+1, e.Position-1)
	}
	if f.o.Berth == "" || f.o.Berth == e.Berth {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if f.j.ctx.Err() != nil {
			return ErrClosed
		}
		f.r.handling(e)
		f.out = *e
		if err := f.handle(&f.out); err != nil {
			return err
		}
	}
	f.pos, f.stored, f.begun = e.Position, e.Stored, true
	f.r.passed(e)
	return nil
}

// lost tells of positions that are not there.
func (f *follower) lost(ctx context.Context, from, to Position) {
	first, _, err := f.j.Bounds(ctx)
	l := Loss{Reader: f.o.Reader, From: from, To: to, Damaged: err == nil && to >= first}
	why := "dropped"
	if l.Damaged {
		why = "damaged"
	}
	f.j.m.skipped.WithLabelValues(l.Reader, why).Add(float64(to - from + 1))
	f.j.log.Error("journal entries are gone", "reader", l.Reader, "from", from, "to", to, "why", why)
	if f.j.o.OnLoss != nil {
		f.j.o.OnLoss(l)
	}
}

// storedBy is the newest position stored no later than t.
func (j *Journal) storedBy(ctx context.Context, t time.Time, last Position) (Position, error) {
	later := t.Add(1)
	cons, err := j.telemetry.CreateConsumer(ctx, jetstream.ConsumerConfig{
		DeliverPolicy: jetstream.DeliverByStartTimePolicy, OptStartTime: &later,
		AckPolicy: jetstream.AckNonePolicy, MemoryStorage: true, Replicas: 1, InactiveThreshold: 10 * time.Second,
	})
	if err != nil {
		return 0, j.readError(err)
	}
	defer j.telemetry.DeleteConsumer(context.WithoutCancel(ctx), cons.CachedInfo().Name)
	batch, err := cons.FetchNoWait(1)
	if err != nil {
		return 0, j.readError(err)
	}
	for m := range batch.Messages() {
		meta, err := m.Metadata()
		if err != nil {
			return 0, err
		}
		last = Position(meta.Sequence.Stream) - 1
	}
	if err := batch.Error(); err != nil {
		return 0, j.readError(err)
	}
	return last, nil
}
