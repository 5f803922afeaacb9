package roll

import (
	"cmp"
	"context"
	"log/slog"
	"maps"
	"slices"
	"sync"
	"time"
)

// Keeper reckons the rolls of spans from the readings that it has stored and keeps
// them. When it returns they are on disk; doing it again changes nothing.
type Keeper interface {
	Reckon(ctx context.Context, places []Place) error
}

const (
	// Settle is how long nothing must have come into a span before it is reckoned: a
	// span that is still filling would be reckoned again and again, and all of it be
	// true. It only costs work to have it short.
	Settle = 5 * time.Second
	// look is how often the list is looked at.
	look = time.Second
	// batch is how many spans are reckoned at once.
	batch = 32
	// again is how long to wait after an error.
	again = 10 * time.Second
)

// Roller reckons the spans on a list as they settle.
type Roller struct {
	Pending *Pending
	Keeper  Keeper
	// Settle is how long nothing must have come into a span; 0 is the constant.
	Settle time.Duration
	Log    *slog.Logger

	reckoning sync.Mutex // one at a time
}

// Run reckons until ctx ends.
func (r *Roller) Run(ctx context.Context) {
	settle := r.Settle
	settle = cmp.Or(settle, Settle)
	wait, failing := min(look, settle), false
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
		err := r.reckon(ctx, time.Now().Add(-settle))
		switch {
		case ctx.Err() != nil:
			return
		case err != nil && !failing:
			r.Log.Warn("readings not rolled up, trying on", "err", err)
		case err == nil && failing:
			r.Log.Info("readings are rolled up again")
		}
		if failing, wait = err != nil, min(look, settle); failing {
			wait = again
		}
	}
}

// All reckons all that is on the list and not being changed just now.
func (r *Roller) All(ctx context.Context) error { return r.reckon(ctx, time.Now()) }

// reckon reckons what was settled at a time.
func (r *Roller) reckon(ctx context.Context, before time.Time) error {
	r.reckoning.Lock()
	defer r.reckoning.Unlock()
	for {
		seen := r.Pending.settled(before, batch)
		if len(seen) == 0 {
			return ctx.Err()
		}
		if err := r.Keeper.Reckon(ctx, slices.SortedFunc(maps.Keys(seen), comparePlaces)); err != nil {
			return err
		}
		done, err := r.Pending.done(seen)
		if err != nil || done == 0 {
			return err
		}
	}
}
