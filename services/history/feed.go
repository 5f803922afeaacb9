// Package history brings what the journal holds to a store and answers
// questions about it. It decides nothing and nothing waits for it: while the
// store is down history is late, ingest and alarms are not. Its invariant: every
// batch in the journal reaches the store at least once, and stores take a batch
// any number of times.
package history

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/batch"
)

// Entry is one batch as the journal holds it, valid only in the call.
type Entry struct {
	Position uint64
	Berth    string
	Refused  []uint32
	Data     []byte
}

// Journal gives every entry in order and keeps one small document.
type Journal interface {
	// FollowAll hands over every entry after a position, in order, until ctx ends
	// or fn fails.
	FollowAll(ctx context.Context, after uint64, fn func(*Entry) error) error
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

	mu    sync.Mutex
	saved uint64
}

// NewFeed makes a feed from a journal to a pump. refill is for a store that has
// lost something: it is given the whole journal again.
func NewFeed(j Journal, p Pump, log *slog.Logger, refill bool) *Feed {
	return &Feed{journal: j, pump: p, log: log, refill: refill}
}

// mark is the document that says up to where the store has the journal.
type mark struct {
	Position uint64
	Clean    bool // the store was closed after it
}

// Run feeds until ctx ends. Where it fails it begins again at the pump's
// position.
func (f *Feed) Run(ctx context.Context) error {
	after, err := f.resume(ctx)
	if err != nil {
		return err
	}
	for ctx.Err() == nil {
		err := f.journal.FollowAll(ctx, after, func(e *Entry) error { return f.offer(ctx, e) })
		if ctx.Err() != nil {
			break
		}
		f.log.Error("feed of the store stopped, starting again", "err", err)
		after = max(after, f.pump.Position())
		select {
		case <-ctx.Done():
		case <-time.After(time.Second):
		}
	}
	return nil
}

// resume is the position to begin after.
func (f *Feed) resume(ctx context.Context) (uint64, error) {
	if f.refill {
		f.log.Warn("the store has a hole, giving it the whole journal again")
		return 0, f.save(ctx, 0, false)
	}
	last, err := f.journal.Last(ctx)
	if err != nil {
		return 0, err
	}
	data, ok, err := f.journal.LoadPosition(ctx)
	if err != nil || !ok {
		return 0, err
	}
	var m mark
	if err := json.Unmarshal(data, &m); err != nil {
		f.log.Warn("position of the store not readable, reading the whole journal again", "err", err)
		return 0, nil
	}
	at := min(m.Position, last)
	if !m.Clean || at < m.Position {
		at -= min(at, backUp)
	}
	// From now on the mark is of an unclean stop until the next clean one.
	return at, f.save(ctx, at, false)
}

func (f *Feed) offer(ctx context.Context, e *Entry) error {
	block, _, err := f.decoder.Decode(e.Data)
	if err != nil {
		f.log.Error("unreadable batch passed over", "berth", e.Berth, "position", e.Position, "err", err)
		return f.pump.Offer(ctx, e.Position, e.Berth, nil)
	}
	block.Drop(e.Refused)
	if err := f.pump.Offer(ctx, e.Position, e.Berth, block); err != nil {
		return err
	}
	return f.keep(ctx)
}

// keep saves the position now and then.
func (f *Feed) keep(ctx context.Context) error {
	const every = 500
	f.mu.Lock()
	due := f.pump.Position() >= f.saved+every
	f.mu.Unlock()
	if !due {
		return nil
	}
	return f.save(ctx, f.pump.Position(), false)
}

func (f *Feed) save(ctx context.Context, position uint64, clean bool) error {
	f.mu.Lock()
	f.saved = position
	f.mu.Unlock()
	data, err := json.Marshal(mark{Position: position, Clean: clean})
	if err != nil {
		return err
	}
	if err := f.journal.SavePosition(ctx, data); err != nil {
		return fmt.Errorf("keep the store's position: %w", err)
	}
	return nil
}

// Closed is called when the pump has ended and the store is closed: the next
// start goes on exactly there.
func (f *Feed) Closed(ctx context.Context) error {
	if p := f.pump.Position(); p > 0 {
		return f.save(ctx, p, true)
	}
	return nil
}
