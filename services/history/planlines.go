package history

import (
	"context"
	"log/slog"
	"time"

	"hawser/ingest/store"
)

// LineStore keeps what plans say of lines beside the readings.
type LineStore interface {
	PutLines(ctx context.Context, berth string, since time.Time, lines []store.PlanLine) error
}

// BerthLines is the plan of a berth as a LineStore takes it.
type BerthLines struct {
	Berth string
	// Version is another for another plan or another ship.
	Version string
	Since   time.Time
	Lines   []store.PlanLine
}

// PlanLines keeps a store told of the plans in force. Readings do not wait for it.
type PlanLines struct {
	// Current lists the berths and their lines as they are now.
	Current func() []BerthLines
	Store   LineStore
	// Every is the time between two looks at what has changed.
	Every time.Duration
	Log   *slog.Logger
}

// Run writes what has changed, and again what could not be written, until ctx
// ends.
func (p *PlanLines) Run(ctx context.Context) error {
	tick := time.NewTicker(p.Every)
	defer tick.Stop()
	told := map[string]string{} // version by berth
	late := false
	for {
		err := p.tell(ctx, told)
		if ctx.Err() != nil {
			return nil
		}
		if (err != nil) != late {
			late = err != nil
			p.Log.Warn("lines of the plans in the store", "late", late, "err", err)
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return nil
		}
	}
}

// tell writes the berths whose version is not the one told.
func (p *PlanLines) tell(ctx context.Context, told map[string]string) error {
	for _, b := range p.Current() {
		if told[b.Berth] == b.Version {
			continue
		}
		if err := p.Store.PutLines(ctx, b.Berth, b.Since, b.Lines); err != nil {
			return err
		}
		told[b.Berth] = b.Version
	}
	return nil
}
