// Package watch runs the detectors over the journal, one ordered unit of work a
// berth, and hands on what they find. It never decides what is wrong and never
// keeps alarms. Its invariant: a change reaches the alarm log with the journal
// position that made it, so that work done again after a restart raises nothing
// twice.
//
//	journal ─► decode ─► detect ─► alarm log, live picture
//	              ▲         │ every SnapshotEvery and at the end
//	              └─────────┴─► snapshot {position, plan, senders, state}
package watch

import (
	"cmp"
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

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/ingest/batch"
)

// Journal gives a berth's entries in order and keeps its last snapshot.
type Journal interface {
	// FollowBerth hands over every entry after a position, in order and at least
	// once, and goes on until ctx ends or fn fails, or the journal lost entries
	// under way that it had handed over: then the error is a batch.RolledBackError.
	FollowBerth(ctx context.Context, berth string, after uint64, fn func(*batch.Entry) error) error
	// Last is the journal's newest position.
	Last(ctx context.Context) (uint64, error)
	SaveSnapshot(ctx context.Context, berth string, data []byte) error
	// LoadSnapshot gives what SaveSnapshot was given last.
	LoadSnapshot(ctx context.Context, berth string) (data []byte, ok bool, err error)
}

// Plans gives the plan a batch was taken in under. What was taken in under one that
// is planbook.ErrDamaged, for good, is passed over.
type Plans interface {
	PlanByFingerprint(ctx context.Context, berth, fingerprint string) (*mooring.Plan, error)
}

// Alarms is the alarm log.
type Alarms interface {
	// Apply records the changes that the entry at position made, unless it has
	// them already.
	Apply(ctx context.Context, berth string, position uint64, changes []detect.Change) error
	// Reconcile makes the berth's active conditions those given: what is not
	// among them is cleared for this reason, a sentence, but what keep tells to, what
	// is missing is raised. Where something after position has been applied it does
	// nothing.
	Reconcile(ctx context.Context, berth string, position uint64, active []detect.Change, keep func(raised detect.Change) bool, reason string) error
	// Standing gives what raised the berth's active conditions of the detectors, those
	// raised by entries up to position.
	Standing(berth string, position uint64) []detect.Change
	// WasReset reports whether a person has reset what a change of the berth raised.
	WasReset(berth string, raised detect.Change) bool
	// Applied is the highest position applied for the berth, 0 for none.
	Applied(berth string) uint64
	// Reached is the highest position ever applied for the berth, whatever the journal
	// has lost since.
	Reached(berth string) uint64
	// Rewind is told where the journal ends before a berth is taken up: what was
	// applied after that comes again with other readings.
	Rewind(ctx context.Context, berth string, last uint64) error
}

// Picture shows the newest readings.
type Picture interface {
	SetPlan(berth string, plan *mooring.Plan)
	// Update takes a block and when the server received it.
	Update(berth string, received time.Time, b *reading.Block)
	// Lies takes how the detectors take the ship to lie, after each block.
	Lies(berth string, how detect.Operating)
	// Shows takes from which load a parting that no load pin shows is told, by line in
	// the plan's order, kN; see detect.Berth's LeastLosses. Every few seconds; least is
	// not to be kept.
	Shows(berth string, least []float64)
}

// Options are what a Watch needs. Journal, Plans, Alarms, Picture, Log and
// Registerer are required.
type Options struct {
	Journal    Journal
	Plans      Plans
	Alarms     Alarms
	Picture    Picture
	Log        *slog.Logger
	Registerer prometheus.Registerer
	// SnapshotEvery is how often a berth's state is kept; 0 means 30 s. A restart
	// reads again what came since.
	SnapshotEvery time.Duration
	// WarmUp is how many journal positions before the newest alarm are read again
	// when there is no usable snapshot; 0 means 50,000.
	WarmUp uint64
}

func (o *Options) validate() error {
	if o.Journal == nil || o.Plans == nil || o.Alarms == nil || o.Picture == nil || o.Log == nil || o.Registerer == nil {
		return errors.New("watch: Journal, Plans, Alarms, Picture, Log and Registerer are required")
	}
	o.SnapshotEvery = cmp.Or(o.SnapshotEvery, 30*time.Second)
	o.WarmUp = cmp.Or(o.WarmUp, 50_000)
	return nil
}

// Watch keeps every berth under watch. Safe for concurrent use.
type Watch struct {
	o      Options
	m      *metrics
	states states
	sent   senders

	mu     sync.Mutex
	known  map[string]*berthWatch // nil where Prepare has not seen the berth
	start  func(berth string)     // nil until Run
	closed bool
}

// New prepares a watch over no berths.
func New(o Options) (*Watch, error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	return &Watch{o: o, m: newMetrics(o.Registerer), states: states{of: map[string]*State{}},
		sent: senders{from: map[string]map[string]string{}}, known: map[string]*berthWatch{}}, nil
}

// Add puts a berth under watch; a second time does nothing, nor does it once Run
// has been told to stop.
func (w *Watch) Add(berth string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if _, ok := w.known[berth]; ok || w.closed {
		return
	}
	w.known[berth] = nil
	w.states.change(berth, func(*State) {})
	w.m.show(berth)
	if w.start != nil {
		w.start(berth)
	}
}

// Prepare finds for every berth added so far where it goes on from, and brings
// alarm log and snapshot back to the journal's end where that was lost. It is
// called once, before Run and before anything can be added to the journal: from
// then on the journal grows, and past what it lost nothing would tell. What is
// brought back is so for good, whenever the process ends.
func (w *Watch) Prepare(ctx context.Context) error {
	w.mu.Lock()
	berths := slices.Sorted(maps.Keys(w.known))
	w.mu.Unlock()
	for _, berth := range berths {
		b := &berthWatch{Watch: w, berth: berth, end: math.MaxUint64}
		if err := b.resume(ctx); err != nil {
			return fmt.Errorf("berth %s: %w", berth, err)
		}
		w.mu.Lock()
		w.known[berth] = b
		w.mu.Unlock()
	}
	return nil
}

// Run watches until ctx ends, then keeps every berth's state and returns when
// all its goroutines have. It is called once.
func (w *Watch) Run(ctx context.Context) error {
	var wg sync.WaitGroup
	w.mu.Lock()
	w.start = func(berth string) {
		b := w.known[berth]
		if b == nil {
			b = &berthWatch{Watch: w, berth: berth, end: math.MaxUint64}
		}
		wg.Go(func() { b.keep(ctx) })
	}
	for berth := range w.known {
		w.start(berth)
	}
	w.mu.Unlock()

	<-ctx.Done()
	w.mu.Lock()
	w.closed = true
	w.mu.Unlock()
	wg.Wait()
	return nil
}

// keep watches its berth for as long as ctx lasts, starting again from the last
// snapshot when something fails: a second later, and later each time that it came
// no further, up to most.
func (b *berthWatch) keep(ctx context.Context) {
	const least, most = time.Second, 5 * time.Second
	wait, furthest := least, uint64(0)
	for {
		err := b.run(ctx)
		if ctx.Err() != nil {
			return
		}
		var lost *batch.RolledBackError
		if errors.As(err, &lost) {
			b.end, b.seen = min(b.end, lost.Last), max(b.seen, b.position)
		}
		if b.position > furthest {
			wait, furthest = least, b.position
		}
		b.stopped(err)
		b.m.restarts.WithLabelValues(b.berth).Inc()
		b.o.Log.Error("watch of a berth stopped, starting again", "berth", b.berth, "err", err, "wait", wait)
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
		wait = min(2*wait, most)
		b = &berthWatch{Watch: b.Watch, berth: b.berth, end: b.end, seen: b.seen}
	}
}
