package store

import (
	"cmp"
	"context"
	"log/slog"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"hawser/detect/reading"
)

// PumpOptions say whom a Pump tells. Zero values are good.
type PumpOptions struct {
	Log        *slog.Logger
	Registerer prometheus.Registerer

	// Tests set these.
	groupBytes         int
	retryMin, retryMax time.Duration
}

const (
	// groupBytes is the memory of readings at which a group goes to the store without
	// waiting longer, about 240,000 readings. Twice this is the most that waits: one group
	// being filled, one being stored.
	groupBytes = 4 << 20
	// groupAge is how long the first block of a group waits for more.
	groupAge = time.Second
	// retryMin and retryMax bound the wait between two tries, which doubles from one to
	// the other while the store is down.
	retryMin = 100 * time.Millisecond
	retryMax = 30 * time.Second
	// lastFlush is how long the one last try may take when Run is told to stop.
	lastFlush = 5 * time.Second
)

// syncEvery is how often a store with a disk of its own is made to write it out
// while it has no rest; the position waits for it.
const syncEvery = time.Second

// syncer is a store whose Append survives a killed process but not a power cut
// until Sync has returned.
type syncer interface{ Sync() error }

// Pump carries blocks from a follower of the journal to a store, in order. Run
// must be going for Offer to come to an end when the store is slow.
type Pump struct {
	store   Store
	opts    PumpOptions
	metrics *metrics

	some  chan struct{} // the group being filled is not empty
	full  chan struct{} // it is full
	space chan struct{} // it was emptied
	done  chan struct{} // Run has returned

	mu       sync.Mutex
	filling  *group
	storing  *group
	oldest   [2]time.Time // when the first block of filling, storing came; zero for none
	position uint64

	// Of Run alone.
	synced time.Time
}

// NewPump makes a Pump to a store, which stays the caller's to close.
func NewPump(s Store, o PumpOptions) *Pump {
	o.Log = cmp.Or(o.Log, slog.New(slog.DiscardHandler))
	o.groupBytes = cmp.Or(o.groupBytes, groupBytes)
	o.retryMin = cmp.Or(o.retryMin, retryMin)
	o.retryMax = cmp.Or(o.retryMax, retryMax)
	p := &Pump{
		store: s, opts: o,
		some: make(chan struct{}, 1), full: make(chan struct{}, 1), space: make(chan struct{}, 1),
		done:    make(chan struct{}),
		filling: &group{}, storing: &group{},
	}
	p.metrics = newMetrics(o.Registerer, p)
	return p
}

// Offer takes a copy of a berth's block from position of the journal (1 or more,
// rising) and returns at once, or waits for space while the store is slow or
// down. A nil block is a position with nothing to store. One goroutine calls it.
func (p *Pump) Offer(ctx context.Context, position uint64, berth string, block *reading.Block) error {
	for {
		if p.take(position, berth, block) {
			return nil
		}
		select {
		case <-p.space:
		case <-p.done:
			return ErrClosed
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// take adds the block to the group being filled, unless that is full.
func (p *Pump) take(position uint64, berth string, block *reading.Block) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.filling.bytes >= p.opts.groupBytes {
		return false
	}
	if p.filling.empty() {
		p.oldest[0] = time.Now()
		signal(p.some)
	}
	p.filling.add(position, berth, block)
	if p.filling.bytes >= p.opts.groupBytes {
		signal(p.full)
	}
	return true
}

// Position is the journal's position up to which all is stored, 0 for none yet.
func (p *Pump) Position() uint64 {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.position
}

// Behind is how long the oldest reading that is not stored yet has been waiting.
func (p *Pump) Behind() time.Duration {
	_, age := p.waiting()
	return age
}

// waiting is the memory and age of what is not stored yet.
func (p *Pump) waiting() (bytes int, age time.Duration) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, t := range p.oldest {
		if !t.IsZero() {
			age = max(age, time.Since(t))
		}
	}
	return p.filling.bytes + p.storing.bytes, age
}

// Run stores what is offered until ctx ends, then tries once more with what is
// left. It is called once. The error tells what could not be stored at the end;
// the journal still has it.
func (p *Pump) Run(ctx context.Context) error {
	defer close(p.done)
	for {
		select {
		case <-p.some:
		case <-ctx.Done():
			return p.lastFlush(ctx)
		}
		p.ripen(ctx)
		if err := p.storeGroup(ctx, p.swap()); err != nil {
			return p.lastFlush(ctx)
		}
	}
}

// ripen waits until the group is full, old enough, or ctx ends.
func (p *Pump) ripen(ctx context.Context) {
	age := time.NewTimer(groupAge)
	defer age.Stop()
	select {
	case <-p.full:
	case <-age.C:
	case <-ctx.Done():
	}
}

// swap takes the filled group and leaves an empty one.
func (p *Pump) swap() *group {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.filling, p.storing = p.storing, p.filling
	p.oldest[0], p.oldest[1] = time.Time{}, p.oldest[0]
	// A signal of the group taken may still be there; it would cut the next short.
	select {
	case <-p.full:
	default:
	}
	signal(p.space)
	return p.storing
}

// signal leaves a token in a channel of one, if there is none yet.
func signal(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}
