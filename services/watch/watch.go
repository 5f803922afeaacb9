// Package watch runs the detectors over the journal, one ordered unit of work a
// berth, and hands on what they find. It never decides what is wrong and never
// keeps alarms. Its invariant: a change reaches the alarm log with the journal
// position that made it, so that work done again after a restart raises nothing
// twice.
//
//	journal ─► decode ─► detect ─► alarm log, live picture
//	              ▲         │ every SnapshotEvery and at the end
//	              └─────────┴─► snapshot {position, plan, state}
package watch

import (
	"bytes"
	"context"
	"encoding/gob"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/ingest/batch"
)

// Entry is one batch as the journal holds it. Data and Refused are valid only
// during the call they are handed to.
type Entry struct {
	Position uint64
	Source   string
	Plan     string   // fingerprint of the plan it was taken in under
	Refused  []uint32 // columns the intake did not take
	Data     []byte   // a serialised hawser.v1.Batch
	Stored   time.Time
}

// Journal gives a berth's entries in order and keeps its last snapshot.
type Journal interface {
	// FollowBerth hands over every entry after a position, in order, and goes on
	// until ctx ends or fn fails.
	FollowBerth(ctx context.Context, berth string, after uint64, fn func(*Entry) error) error
	// Last is the journal's newest position.
	Last(ctx context.Context) (uint64, error)
	SaveSnapshot(ctx context.Context, berth string, data []byte) error
	LoadSnapshot(ctx context.Context, berth string) (data []byte, ok bool, err error)
}

// Plans gives the plan a batch was taken in under.
type Plans interface {
	PlanByFingerprint(ctx context.Context, berth, fingerprint string) (*mooring.Plan, error)
}

// Alarms is the alarm log.
type Alarms interface {
	// Apply records the changes that the entry at position made, unless it has
	// them already.
	Apply(ctx context.Context, berth string, position uint64, changes []detect.Change) error
	// Reconcile makes the berth's active conditions those given: what is not
	// among them is cleared for this reason, what is missing is raised.
	Reconcile(ctx context.Context, berth string, position uint64, active []detect.Change, reason string) error
	// Applied is the highest position applied for the berth, 0 for none.
	Applied(berth string) uint64
	// Rewind is told where the journal ends before a berth is taken up: what was
	// applied after that comes again with other readings.
	Rewind(ctx context.Context, berth string, last uint64) error
}

// Picture shows the newest readings.
type Picture interface {
	SetPlan(berth string, plan *mooring.Plan)
	// Update takes a block and when the server received it.
	Update(berth string, received time.Time, b *reading.Block)
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
	// WarmUp is how many journal positions are read again when there is no usable
	// snapshot but alarms are on record; 0 means 50,000.
	WarmUp uint64
}

func (o *Options) validate() error {
	if o.Journal == nil || o.Plans == nil || o.Alarms == nil || o.Picture == nil || o.Log == nil || o.Registerer == nil {
		return errors.New("watch: an option that is required is missing")
	}
	if o.SnapshotEvery == 0 {
		o.SnapshotEvery = 30 * time.Second
	}
	if o.WarmUp == 0 {
		o.WarmUp = 50_000
	}
	return nil
}

// Watch keeps every berth under watch. Safe for concurrent use.
type Watch struct {
	o Options
	m *metrics

	mu     sync.Mutex
	known  map[string]bool
	start  func(berth string) // nil until Run
	closed bool
}

// New prepares a watch over no berths.
func New(o Options) (*Watch, error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	return &Watch{o: o, m: newMetrics(o.Registerer), known: map[string]bool{}}, nil
}

// Add puts a berth under watch; a second time does nothing.
func (w *Watch) Add(berth string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.known[berth] || w.closed {
		return
	}
	w.known[berth] = true
	if w.start != nil {
		w.start(berth)
	}
}

// Run watches until ctx ends, then keeps every berth's state and returns when
// all its goroutines have.
func (w *Watch) Run(ctx context.Context) error {
	var wg sync.WaitGroup
	w.mu.Lock()
	w.start = func(berth string) {
		wg.Go(func() { w.keep(ctx, berth) })
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

// keep watches one berth for as long as ctx lasts, starting again from the last
// snapshot when something fails.
func (w *Watch) keep(ctx context.Context, berth string) {
	const wait = time.Second
	for {
		b := &berthWatch{Watch: w, berth: berth}
		err := b.run(ctx)
		if ctx.Err() != nil {
			return
		}
		w.o.Log.Error("watch of a berth stopped, starting again", "berth", berth, "err", err)
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
	}
}

// snapshot is what is kept of a berth: its detectors' state after the entry at
// Position.
type snapshot struct {
	Position uint64
	Plan     string
	State    []byte
}

// berthWatch is one run over one berth's entries.
type berthWatch struct {
	*Watch
	berth    string
	unit     *Unit // nil until the first entry
	plan     string
	position uint64
	saved    time.Time
	decoder  batch.Decoder
	counted  detect.Oddities
	// warmUntil is the position up to which a berth without a usable snapshot is
	// read again for its state alone; 0 when it is not warming up.
	warmUntil uint64
}

func (b *berthWatch) run(ctx context.Context) error {
	if err := b.resume(ctx); err != nil {
		return err
	}
	err := b.o.Journal.FollowBerth(ctx, b.berth, b.position, func(e *Entry) error { return b.take(ctx, e) })
	if ctx.Err() != nil {
		// The last state is kept in the time after the stop that the owner grants.
		keep, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
		defer cancel()
		return b.save(keep)
	}
	return err
}

// resume finds where to begin.
func (b *berthWatch) resume(ctx context.Context) error {
	b.saved = time.Now()
	last, err := b.o.Journal.Last(ctx)
	if err != nil {
		return err
	}
	if err := b.o.Alarms.Rewind(ctx, b.berth, last); err != nil {
		return err
	}
	data, ok, err := b.o.Journal.LoadSnapshot(ctx, b.berth)
	if err != nil {
		return err
	}
	if ok {
		err := b.restore(ctx, data, last)
		if err == nil {
			return nil
		}
		b.o.Log.Warn("snapshot of a berth not usable, reading the journal again", "berth", b.berth, "err", err)
	}
	if applied := b.o.Alarms.Applied(b.berth); applied > 0 {
		b.warmUntil = applied
		b.position = applied - min(applied, b.o.WarmUp)
	}
	return nil
}

func (b *berthWatch) restore(ctx context.Context, data []byte, last uint64) error {
	var s snapshot
	if err := gob.NewDecoder(bytes.NewReader(data)).Decode(&s); err != nil {
		return fmt.Errorf("decode: %w", err)
	}
	if s.Position > last {
		return fmt.Errorf("snapshot is of position %d but the journal ends at %d: a power cut took its end", s.Position, last)
	}
	plan, err := b.o.Plans.PlanByFingerprint(ctx, b.berth, s.Plan)
	if err != nil {
		return err
	}
	unit, err := RestoreUnit(plan, s.State)
	if err != nil {
		return err
	}
	b.unit, b.plan, b.position, b.counted = unit, s.Plan, s.Position, unit.Oddities()
	b.o.Picture.SetPlan(b.berth, plan)
	return nil
}

// take puts one entry through.
func (b *berthWatch) take(ctx context.Context, e *Entry) error {
	if err := b.underPlan(ctx, e); err != nil {
		return err
	}
	block, _, err := b.decoder.Decode(e.Data)
	if err != nil {
		// The intake let it in, so it is the journal that spoilt it: it will not
		// get better by trying again.
		b.o.Log.Error("unreadable batch passed over", "berth", b.berth, "position", e.Position, "err", err)
		b.m.setAside.WithLabelValues(b.berth).Inc()
		return nil
	}
	block.Drop(e.Refused)
	changes := b.unit.Take(e.Source, block)
	b.position = e.Position
	if err := b.tell(ctx, e, changes); err != nil {
		// The unit is past these readings and the log is not: what is kept must not
		// be, so that they come again.
		b.unit = nil
		return err
	}
	b.o.Picture.Update(b.berth, e.Stored, block)
	b.count(e, block, changes)
	if time.Since(b.saved) >= b.o.SnapshotEvery {
		return b.save(ctx)
	}
	return nil
}

// underPlan sees to it that the unit works by the entry's plan.
func (b *berthWatch) underPlan(ctx context.Context, e *Entry) error {
	if b.unit != nil && b.plan == e.Plan {
		return nil
	}
	plan, err := b.o.Plans.PlanByFingerprint(ctx, b.berth, e.Plan)
	if err != nil {
		return err
	}
	if b.unit != nil && e.Position > b.warmUntil {
		if err := b.o.Alarms.Reconcile(ctx, b.berth, b.position, nil, "the mooring plan was replaced"); err != nil {
			return err
		}
	}
	b.unit, b.plan, b.counted = NewUnit(plan), e.Plan, detect.Oddities{}
	b.o.Picture.SetPlan(b.berth, plan)
	return nil
}

// tell hands changes to the alarm log.
func (b *berthWatch) tell(ctx context.Context, e *Entry, changes []detect.Change) error {
	if b.warmUntil > 0 {
		if e.Position < b.warmUntil {
			return nil
		}
		b.warmUntil = 0
		return b.o.Alarms.Reconcile(ctx, b.berth, e.Position, b.unit.Active(), "not found when the watch started again")
	}
	if len(changes) == 0 {
		return nil
	}
	return b.o.Alarms.Apply(ctx, b.berth, e.Position, changes)
}

func (b *berthWatch) count(e *Entry, block *reading.Block, changes []detect.Change) {
	delay := time.Since(e.Stored).Seconds()
	b.m.blocks.Observe(delay)
	b.m.samples.WithLabelValues(b.berth).Add(float64(block.Samples()))
	b.m.position.WithLabelValues(b.berth).Set(float64(e.Position))
	for i := range changes {
		state := "cleared"
		if changes[i].Raised {
			state = "raised"
			b.m.alarms.Observe(delay)
		}
		b.m.changes.WithLabelValues(b.berth, changes[i].Condition.String(), state).Inc()
	}
	if now := b.unit.Oddities(); now != b.counted {
		add := func(reason string, now, was uint64) {
			b.m.unusable.WithLabelValues(b.berth, reason).Add(float64(now - was))
		}
		add("late", now.Late, b.counted.Late)
		add("duplicate", now.Duplicate, b.counted.Duplicate)
		add("unknown", now.Unknown, b.counted.Unknown)
		add("bad", now.Bad, b.counted.Bad)
		add("overflow", now.Overflow, b.counted.Overflow)
		b.counted = now
	}
}

// save keeps the berth's state.
func (b *berthWatch) save(ctx context.Context) error {
	b.saved = time.Now()
	if b.unit == nil || b.warmUntil > 0 {
		return nil
	}
	state, err := b.unit.Snapshot()
	if err != nil {
		return fmt.Errorf("berth %s: snapshot: %w", b.berth, err)
	}
	var buf bytes.Buffer
	if err := gob.NewEncoder(&buf).Encode(snapshot{Position: b.position, Plan: b.plan, State: state}); err != nil {
		return fmt.Errorf("berth %s: snapshot: %w", b.berth, err)
	}
	if err := b.o.Journal.SaveSnapshot(ctx, b.berth, buf.Bytes()); err != nil {
		return fmt.Errorf("berth %s: keep snapshot: %w", b.berth, err)
	}
	return nil
}
