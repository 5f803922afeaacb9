package stay

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/ingest/batch"
	"hawser/ingest/planbook"
)

// Journal gives every entry in order and keeps a document a berth.
type Journal interface {
	// FollowStays hands over every entry after a position, in order, until ctx ends
	// or fn fails, or the journal lost entries under way that it had handed over: then
	// the error is a batch.RolledBackError.
	FollowAll(ctx context.Context, after uint64, fn func(*batch.Entry) error) error
	// Last is the journal's newest position.
	Last(ctx context.Context) (uint64, error)
	SaveStays(ctx context.Context, berth string, data []byte) error
	LoadStays(ctx context.Context) (map[string][]byte, error)
	// SavePosition keeps how far all of them are; LoadPosition gives 0 for never.
	SavePosition(ctx context.Context, position uint64) error
	LoadPosition(ctx context.Context) (uint64, error)
}

// Plans gives the plan a batch was taken in under. What was taken in under one that
// is planbook.ErrDamaged, for good, is in no stay.
type Plans interface {
	PlanByFingerprint(ctx context.Context, berth, fingerprint string) (*mooring.Plan, error)
}

// Options are what a Keeper needs. Journal, Plans and Log are required.
type Options struct {
	Journal Journal
	Plans   Plans
	Log     *slog.Logger
	Now     func() time.Time // nil means the system's clock
}

// Keeper follows the journal and keeps every berth's stays. Safe for concurrent use.
type Keeper struct {
	o       Options
	decoder batch.Decoder // of the one that follows

	mu       sync.RWMutex
	folds    map[string]*Fold
	position uint64
	changed  map[string]bool // berths whose document is behind
}

// New makes a keeper.
func New(o Options) (*Keeper, error) {
	if o.Journal == nil || o.Plans == nil || o.Log == nil {
		return nil, errors.New("stay: Journal, Plans and Log are required")
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	return &Keeper{o: o, folds: map[string]*Fold{}, changed: map[string]bool{}}, nil
}

// List gives the stays of a berth, or of all for "", newest first.
func (k *Keeper) List(berth string) []Stay {
	k.mu.RLock()
	defer k.mu.RUnlock()
	var out []Stay
	for name, f := range k.folds {
		if berth == "" || name == berth {
			out = append(out, f.list(k.o.Now())...)
		}
	}
	slices.SortStableFunc(out, func(a, b Stay) int {
		return cmp.Or(b.Arrival.Compare(a.Arrival), cmp.Compare(a.Berth, b.Berth))
	})
	return out
}

// Ships names the ships of all stays, sorted.
func (k *Keeper) Ships() []string {
	var out []string
	for _, s := range k.List("") {
		out = append(out, s.Ship)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Prepare reads what is kept. It is called once, before Run and before anything can
// be added to the journal: only then does the journal's end tell what it lost.
func (k *Keeper) Prepare(ctx context.Context) error {
	documents, err := k.o.Journal.LoadStays(ctx)
	if err != nil {
		return fmt.Errorf("stays on record: %w", err)
	}
	for berth, data := range documents {
		f := &Fold{}
		if err := json.Unmarshal(data, f); err != nil || f.Berth != berth {
			k.o.Log.Error("stays on record cannot be read, making them anew from the journal", "berth", berth, "err", err)
			k.folds = map[string]*Fold{}
			return nil // from the beginning
		}
		k.folds[berth] = f
	}
	kept, err := k.o.Journal.LoadPosition(ctx)
	if err != nil {
		return fmt.Errorf("stays on record: %w", err)
	}
	last, err := k.o.Journal.Last(ctx)
	if err != nil {
		return fmt.Errorf("stays on record: %w", err)
	}
	// What was folded of a lost end comes again from its source, and changes nothing
	// the second time.
	k.position = min(kept, last)
	return nil
}

// saveEvery is how far the documents may be behind: what they lack is read from the
// journal again.
const saveEvery = 30 * time.Second

// Run follows the journal until ctx ends, beginning again a second after something
// failed. It keeps what it has when it ends.
func (k *Keeper) Run(ctx context.Context) error {
	following := make(chan struct{})
	go func() {
		defer close(following)
		k.follow(ctx)
	}()
	every := time.NewTicker(saveEvery)
	defer every.Stop()
	for {
		select {
		case <-every.C:
			k.save(ctx)
		case <-following:
			last, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
			defer cancel()
			k.save(last)
			return nil
		}
	}
}

func (k *Keeper) follow(ctx context.Context) {
	for ctx.Err() == nil {
		err := k.o.Journal.FollowAll(ctx, k.position, func(e *batch.Entry) error { return k.take(ctx, e) })
		var lost *batch.RolledBackError
		switch {
		case ctx.Err() != nil:
			return
		case errors.As(err, &lost):
			k.mu.Lock() // as in Prepare
			k.position = min(k.position, lost.Last)
			k.mu.Unlock()
		}
		k.o.Log.Error("following the journal for stays stopped, beginning again", "err", err)
		select {
		case <-ctx.Done():
		case <-time.After(time.Second):
		}
	}
}

// take folds one entry.
func (k *Keeper) take(ctx context.Context, e *batch.Entry) error {
	plan, err := k.o.Plans.PlanByFingerprint(ctx, e.Berth, e.Plan)
	switch {
	case errors.Is(err, planbook.ErrDamaged):
		k.o.Log.Warn("a plan cannot be read, its readings are in no stay", "berth", e.Berth, "plan", e.Plan, "err", err)
	case err != nil:
		return err // tried again
	default:
		b, err := k.decoder.DecodeEntry(e)
		if err != nil {
			k.o.Log.Error("unreadable batch is in no stay", "berth", e.Berth, "position", e.Position, "err", err)
			break
		}
		k.fold(e, plan.Ship.Name, b)
	}
	k.mu.Lock()
	k.position = e.Position
	k.mu.Unlock()
	return nil
}

// fold tells the berth's fold of a block.
func (k *Keeper) fold(e *batch.Entry, ship string, b *reading.Block) {
	ev, ok := EventOf(b)
	if !ok {
		return
	}
	ev.Ship, ev.Plan = ship, e.Plan
	k.mu.Lock()
	defer k.mu.Unlock()
	f := k.folds[e.Berth]
	if f == nil {
		f = &Fold{Berth: e.Berth}
		k.folds[e.Berth] = f
	}
	f.Take(&ev)
	k.changed[e.Berth] = true
}

// save keeps what has changed, and then how far that is: after a stop in between,
// what is read again changes nothing.
func (k *Keeper) save(ctx context.Context) {
	k.mu.Lock()
	position := k.position
	documents := map[string][]byte{}
	for berth := range k.changed {
		data, err := json.Marshal(k.folds[berth])
		if err != nil { // a fold is plain data
			k.o.Log.Error("stays not kept", "berth", berth, "err", err)
			continue
		}
		documents[berth] = data
	}
	clear(k.changed)
	k.mu.Unlock()
	if len(documents) == 0 {
		return
	}
	whole := true
	for berth, data := range documents {
		if err := k.o.Journal.SaveStays(ctx, berth, data); err != nil {
			k.o.Log.Error("stays not kept", "berth", berth, "err", err)
			k.mu.Lock()
			k.changed[berth] = true
			k.mu.Unlock()
			whole = false
		}
	}
	if !whole {
		return
	}
	if err := k.o.Journal.SavePosition(ctx, position); err != nil {
		k.o.Log.Error("position of the stays not kept", "err", err)
	}
}
