// Package history brings what the journal holds to a store and answers
// questions about it. It decides nothing and nothing waits for it: while the
// store is down history is late, ingest and alarms are not. Its invariant: every
// batch in the journal reaches the store at least once, and stores take a batch
// any number of times.
package history

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/batch"
)

// Journal gives every entry in order and keeps one small document.
type Journal interface {
	// FollowAll hands over every entry after a position, in order, until ctx ends
	// or fn fails, or the journal lost entries under way that it had handed over:
	// then the error is a batch.RolledBackError.
	FollowAll(ctx context.Context, after uint64, fn func(*batch.Entry) error) error
	Last(ctx context.Context) (uint64, error)
	SavePosition(ctx context.Context, data []byte) error
	LoadPosition(ctx context.Context) (data []byte, ok bool, err error)
}

// Pump takes blocks on their way to the store.
type Pump interface {
	// Offer waits while the store is behind. A nil block is a position with
	// nothing to store.
	Offer(ctx context.Context, position uint64, berth string, b *reading.Block) error
	// Position is up to where all is stored.
	Position() uint64
}

// backUp is how many positions are read again after a stop that was not clean:
// an embedded store may have lost what the system had not yet written to disk,
// which is at most the last half minute, and stores take repeats.
const backUp = 5_000

// Feed carries the journal to the pump.
type Feed struct {
	journal Journal
	pump    Pump
	log     *slog.Logger
	refill  bool
	decoder batch.Decoder

	resumed bool   // the two below are known
	offered uint64 // position up to which the pump was given all
	saved   uint64
	// end is the lowest end of the journal told since the feed was brought back to
	// it: by the next try the journal may have grown past what it lost.
	end uint64
	// lost is set when the journal lost its end under way: the pump's position may
	// be one of before.
	lost bool
}

// NewFeed makes a feed from a journal to a pump. refill is for a store that is
// new or has lost something: it is given the whole journal again.
func NewFeed(j Journal, p Pump, log *slog.Logger, refill bool) *Feed {
	return &Feed{journal: j, pump: p, log: log, refill: refill, end: math.MaxUint64}
}

// mark is the document that says up to where the store has the journal.
type mark struct {
	Position uint64
	Clean    bool // the store was closed after it
}

// Prepare finds where to begin. It is called once, before Run and before anything
// can be added to the journal: only then does the journal's end tell what it lost.
func (f *Feed) Prepare(ctx context.Context) error {
	last, err := f.journal.Last(ctx)
	if err != nil {
		return err
	}
	return f.resume(ctx, last)
}

// Run feeds until ctx ends, beginning again a second after something failed. It
// is called once.
func (f *Feed) Run(ctx context.Context) error {
	const wait = time.Second
	for {
		err := f.run(ctx)
		if ctx.Err() != nil {
			return nil
		}
		var lost *batch.RolledBackError
		if errors.As(err, &lost) {
			f.end = min(f.end, lost.Last)
		}
		f.log.Error("feed of the store stopped, starting again", "err", err)
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(wait):
		}
	}
}

func (f *Feed) run(ctx context.Context) error {
	last, err := f.journal.Last(ctx)
	if err != nil {
		return err
	}
	last = min(last, f.end)
	switch {
	case !f.resumed:
		err = f.resume(ctx, last)
	case f.offered > last:
		f.log.Warn("journal has lost its end, feeding the store from before it", "offered", f.offered, "last", last)
		f.lost = true
		err = f.begin(ctx, last-min(last, backUp))
	}
	if err != nil {
		return err
	}
	f.end = math.MaxUint64
	return f.journal.FollowAll(ctx, f.offered, func(e *batch.Entry) error { return f.offer(ctx, e) })
}

// resume finds the position to begin after.
func (f *Feed) resume(ctx context.Context, last uint64) error {
	if f.refill {
		f.log.Info("the store is new or has a hole, giving it the whole journal")
		return f.begin(ctx, 0)
	}
	data, ok, err := f.journal.LoadPosition(ctx)
	if err != nil {
		return err
	}
	if !ok {
		return f.begin(ctx, 0)
	}
	var m mark
	if err := json.Unmarshal(data, &m); err != nil {
		f.log.Warn("position of the store not readable, giving it the whole journal again", "err", err)
		return f.begin(ctx, 0)
	}
	at := min(m.Position, last)
	if !m.Clean || at < m.Position {
		at -= min(at, backUp)
	}
	return f.begin(ctx, at)
}

// begin sets where to begin. The mark is of an unclean stop until the next clean
// one.
func (f *Feed) begin(ctx context.Context, after uint64) error {
	if err := f.save(ctx, after, false); err != nil {
		return err
	}
	f.resumed, f.offered = true, after
	return nil
}

func (f *Feed) offer(ctx context.Context, e *batch.Entry) error {
	if e.Position <= f.offered {
		return nil // delivered a second time; the pump takes positions as they rise
	}
	block, err := f.decoder.DecodeEntry(e)
	if err != nil {
		f.log.Error("unreadable batch passed over", "berth", e.Berth, "position", e.Position, "err", err)
	}
	if err := f.pump.Offer(ctx, e.Position, e.Berth, block); err != nil {
		return err
	}
	f.offered = e.Position
	f.keep(ctx)
	return nil
}

// keep saves the position now and then. That it could not is told and no more: a
// restart gives the store more again.
func (f *Feed) keep(ctx context.Context) {
	const every = 500
	at := f.stored()
	if at < f.saved+every {
		return
	}
	if err := f.save(ctx, at, false); err != nil {
		f.log.Warn("position of the store not kept", "position", at, "err", err)
	}
}

func (f *Feed) save(ctx context.Context, position uint64, clean bool) error {
	f.saved = position
	data, err := json.Marshal(mark{Position: position, Clean: clean})
	if err != nil {
		return err
	}
	if err := f.journal.SavePosition(ctx, data); err != nil {
		return fmt.Errorf("keep the store's position: %w", err)
	}
	return nil
}

// stored is the position up to which the store has all. The pump's own is 0 until
// it has stored something.
func (f *Feed) stored() uint64 { return min(max(f.saved, f.pump.Position()), f.offered) }

// Closed is called when Run and the pump have ended and the store is closed: the
// next start goes on exactly there. It does nothing where Run never began to feed.
func (f *Feed) Closed(ctx context.Context) error {
	if !f.resumed {
		return nil
	}
	return f.save(ctx, f.stored(), !f.lost)
}
