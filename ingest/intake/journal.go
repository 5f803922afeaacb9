package intake

import (
	"context"
	"errors"

	"hawser/ingest/journal"
)

// Journal is where batches are made durable. Safe for concurrent use.
type Journal interface {
	// Append hands e over; its data is the journal's from then on. It may block
	// while the journal is behind. Of one source, entries reach the disk in the
	// order they were handed over, and none after one that did not until
	// LastSequence was asked. Calls for one source are not concurrent.
	Append(ctx context.Context, e *journal.Entry) (Pending, error)
	// LastSequence is the highest sequence of a source on disk, 0 for none.
	LastSequence(ctx context.Context, berth, source string) (uint64, error)
	// Newest is the newest entry of each source of a berth.
	Newest(ctx context.Context, berth string) ([]journal.Entry, error)
}

// ErrUnkept is what a journal has to say of an entry that it goes on without: it is
// watched and will not be on disk unless it comes again. The stream goes on and is
// receipted no more.
var ErrUnkept = errors.New("taken to be watched, not kept")

// Pending is an entry on its way to disk.
type Pending interface {
	// Wait returns nil when the entry is on disk, or an error that may be ErrUnkept.
	Wait(ctx context.Context) (journal.Position, error)
}
