// Package linebook keeps the service record of every line: the hours it was under
// load, its peaks, the load cycles it has borne, what its winch's brake has rendered
// and what was raised about it, across stays and berths. It never judges a rope.
// Its invariant: a record is the fold of the journal, of the alarm log and of what
// was told of ropes, so that the same three give the same bytes, however often they
// are read and wherever reading stopped.
//
//	journal ────► decode ─► readings ─┐
//	alarm log ──► raised, cleared ────┼─► records ─► lists
//	people ─────► log "ropes" ────────┘      │ every KeepEvery and at the end
//	                                         └─► a document a ship, then the mark
//
// # Whose record it is
//
// A rope whose number the plan states has a record of its own within its ship, on
// whatever line she uses it. Where the plan does not, the record is of the ship's
// line, and begins anew when somebody tells that another rope was fitted.
//
// # What counts
//
// Readings in their order of time. One that is no newer than what was counted of
// its channel is late: it is counted as that and is in nothing else. So is what a
// source sent more than reading.Lateness behind, and a recording of the past sent
// in while newer readings are there.
//
// # Kept
//
// Bucket "lines" of the journal's documents has two places for each ship and for
// the mark, written in turn: after a power cut, in which the journal may have lost
// the last seconds of what was read, one of the two is from before that.
//
//	<ship>_a, <ship>_b   records, and up to where they have journal, alarms, ropes
//	mark_a, mark_b       up to where all ships do, and who was at each berth
//	begun                the ships being written, before any of them is
package linebook

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"math"
	"slices"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"golang.org/x/sync/errgroup"

	"hawser/detect/fatigue"
	"hawser/detect/mooring"
	"hawser/ingest/batch"
)

// Journal gives every entry in order.
type Journal interface {
	// FollowAll hands over every entry after a position, in order, until ctx ends
	// or fn fails, or the journal lost entries under way that it had handed over:
	// then the error is a batch.RolledBackError.
	FollowAll(ctx context.Context, after uint64, fn func(*batch.Entry) error) error
	Last(ctx context.Context) (uint64, error)
}

// Documents keeps small named documents, the last value of each.
type Documents interface {
	Put(ctx context.Context, bucket, key string, data []byte) error
	Get(ctx context.Context, bucket, key string) (data []byte, ok bool, err error)
}

// Records is an append-only log of small records.
type Records interface {
	AppendRecord(ctx context.Context, log string, data []byte) (uint64, error)
	ReadRecords(ctx context.Context, log string, after uint64, fn func(position uint64, data []byte) error) error
}

// Plans gives the plan a batch was taken in under. What was taken in under one that
// is planbook.ErrDamaged, for good, is in no record.
type Plans interface {
	PlanByFingerprint(ctx context.Context, berth, fingerprint string) (*mooring.Plan, error)
}

// Event is an alarm about a line that was raised or cleared.
type Event struct {
	Position  uint64 // in the alarm log
	Berth     string
	Line      string
	Condition string
	Raised    bool
	Time      time.Time // event time
	Journal   uint64    // journal position of the readings behind it
}

// Alarms is the alarm log.
type Alarms interface {
	// Follow hands over every record after a position, those of no line too, until
	// ctx ends or the log is closed. An error of fn is tried again.
	Follow(ctx context.Context, after uint64, fn func(*Event) error)
	// Position is the newest.
	Position() uint64
}

// Options are what a Book needs. All but Curves, KeepEvery and Now are required.
type Options struct {
	Journal    Journal
	Documents  Documents
	Records    Records
	Plans      Plans
	Alarms     Alarms
	Log        *slog.Logger
	Registerer prometheus.Registerer
	// Curves go before the ones built in, by material.
	Curves map[mooring.Material]fatigue.Curve
	// KeepEvery is how often the records are kept; 0 means 60 s. It must be longer
	// than the journal may lose at a power cut.
	KeepEvery time.Duration
	// Now is the clock for what people tell; nil means the system's.
	Now func() time.Time
}

func (o *Options) validate() error {
	if o.Journal == nil || o.Documents == nil || o.Records == nil || o.Plans == nil || o.Alarms == nil || o.Log == nil || o.Registerer == nil {
		return errors.New("linebook: Journal, Documents, Records, Plans, Alarms, Log and Registerer are required")
	}
	for material, c := range o.Curves {
		if err := c.Validate(); err != nil {
			return fmt.Errorf("linebook: curve of %s: %w", material, err)
		}
	}
	if o.KeepEvery == 0 {
		o.KeepEvery = time.Minute
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	return nil
}

// Book is the records. Safe for concurrent use.
type Book struct {
	o Options
	m *metrics

	// Of the one goroutine that folds the journal.
	decoder  batch.Decoder
	saved    time.Time
	resumed  bool
	caughtUp bool   // with the alarms on record when reading began
	end      uint64 // lowest end of the journal told since the records went back to it

	// telling is held by the one call that may add to the log of ropes or reads it.
	telling chan struct{}

	mu       sync.Mutex
	position uint64            // journal: folded
	alarms   uint64            // alarm log: folded
	ropes    uint64            // log of ropes: read
	missed   uint64            // batches in no record
	berths   map[string]*berth // by name
	ships    map[string]*ship  // at a berth now, or changed since they were kept, by name
	pending  []*ropeEvent      // told, and the journal not yet folded so far
	markSlot int               // where the newest mark is
	alarmEnd uint64            // of the alarm log when reading began
	awaits   uint64            // journal position that the next alarm waits for
	grew     chan struct{}     // closed when any of this has moved on, nil where nobody waits
}

// New makes a book that has read nothing.
func New(o Options) (*Book, error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	return &Book{o: o, m: newMetrics(o.Registerer), end: math.MaxUint64, telling: make(chan struct{}, 1),
		berths: map[string]*berth{}, ships: map[string]*ship{}}, nil
}

// Prepare finds where to begin. It is called once, before Run and before anything
// can be added to the journal: only then does the journal's end tell what it lost.
func (b *Book) Prepare(ctx context.Context) error {
	last, err := b.o.Journal.Last(ctx)
	if err != nil {
		return err
	}
	return b.resume(ctx, last)
}

// Run folds until ctx ends, beginning again a second after something failed, and
// keeps the records at the end. It is called once.
func (b *Book) Run(ctx context.Context) error {
	const wait = time.Second
	for {
		err := b.run(ctx)
		if ctx.Err() != nil {
			keep, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
			defer cancel()
			if b.resumed {
				b.keep(keep)
			}
			return nil
		}
		var lost *batch.RolledBackError
		if errors.As(err, &lost) {
			b.end, b.resumed = min(b.end, lost.Last), false
		}
		b.m.restarts.Inc()
		b.o.Log.Error("line records stopped, starting again", "err", err)
		select {
		case <-ctx.Done():
		case <-time.After(wait):
		}
	}
}

func (b *Book) run(ctx context.Context) error {
	if !b.resumed {
		last, err := b.o.Journal.Last(ctx)
		if err != nil {
			return err
		}
		if err := b.resume(ctx, min(last, b.end)); err != nil {
			return err
		}
	}
	b.mu.Lock()
	position, alarms := b.position, b.alarms
	b.alarmEnd, b.awaits, b.caughtUp = b.o.Alarms.Position(), 0, false
	b.mu.Unlock()
	g, ctx := errgroup.WithContext(ctx)
	g.Go(func() error {
		return b.o.Journal.FollowAll(ctx, position, func(e *batch.Entry) error { return b.take(ctx, e) })
	})
	g.Go(func() error {
		b.o.Alarms.Follow(ctx, alarms, func(e *Event) error { return b.takeAlarm(ctx, e) })
		return nil // the log is closed, or ctx has ended
	})
	return g.Wait()
}

// Position is the journal position up to which the records have the readings.
func (b *Book) Position() uint64 {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.position
}

// shipsAt lists who is at the berths, "" for all, sorted by ship.
func (b *Book) shipsAt(name string) []*ship {
	at := map[string]*ship{}
	for _, berth := range b.berths {
		if berth.ship != nil && (name == "" || berth.name == name) {
			at[berth.ship.Name] = berth.ship
		}
	}
	var out []*ship
	for _, name := range slices.Sorted(maps.Keys(at)) {
		out = append(out, at[name])
	}
	return out
}
