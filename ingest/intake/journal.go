package intake

import "context"

// Entry is a batch as it goes to the journal.
type Entry struct {
	Berth, Source string
	Sequence      uint64
	Plan          string   // fingerprint of the plan the batch was checked by
	Refused       []uint32 // columns not taken, by index, rising
	Data          []byte   // exactly what the source sent
}

// Journal is where batches are made durable. Safe for concurrent use.
type Journal interface {
	// Append hands e over; it and its data are the journal's from then on. It may
	// block while the journal is behind. Of one source, batches reach the disk in
	// the order they were handed over, and none after one that did not.
	Append(ctx context.Context, e *Entry) (Pending, error)
	// LastSequence is the highest sequence of a source on disk, 0 for none.
	LastSequence(ctx context.Context, berth, source string) (uint64, error)
}

// Pending is a batch on its way to disk.
type Pending interface {
	// Wait returns nil when the batch is on disk.
	Wait(ctx context.Context) error
}
