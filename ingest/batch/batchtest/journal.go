// Package batchtest has a journal in memory, with the faults of a real one, for the
// tests of those who follow a journal.
package batchtest

import (
	"context"
	"slices"
	"sync"

	"hawser/ingest/batch"
)

// Journal is the entries of a journal. Its fields are the test's while nobody follows
// it.
type Journal struct {
	Entries []batch.Entry // in order of their positions
	From    []uint64      // where each follower began

	// Before is called before an entry is handed over; its error ends the following. Nil
	// lets all pass.
	Before func(e *batch.Entry) error
	// Again gives the indexes of the entries that are handed over once more after the one
	// at an index; nil for none.
	Again func(i int) []int
	// AtEnd is called when all there is has been handed over; nil waits for more.
	AtEnd func(ctx context.Context) error
	// End answers for Last; nil answers with the newest entry's position.
	End func() (uint64, error)

	mu   sync.Mutex
	grew chan struct{} // closed and replaced when there are more
}

// New makes a journal of some entries.
func New(entries ...batch.Entry) *Journal {
	return &Journal{Entries: entries, grew: make(chan struct{})}
}

// Add adds entries, also while somebody follows.
func (j *Journal) Add(entries ...batch.Entry) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.Entries = append(j.Entries, entries...)
	close(j.grew)
	j.grew = make(chan struct{})
}

// Cut loses what came after a position, also while somebody follows.
func (j *Journal) Cut(last uint64) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.Entries = slices.DeleteFunc(slices.Clone(j.Entries), func(e batch.Entry) bool { return e.Position > last })
}

// Newest is the position of the newest entry, 0 for none.
func (j *Journal) Newest() uint64 {
	j.mu.Lock()
	defer j.mu.Unlock()
	if len(j.Entries) == 0 {
		return 0
	}
	return j.Entries[len(j.Entries)-1].Position
}

// Last is the newest position, or what End says.
func (j *Journal) Last(ctx context.Context) (uint64, error) {
	if j.End != nil {
		return j.End()
	}
	return j.Newest(), ctx.Err()
}

// FollowAll hands over every entry after a position, in order, until ctx ends, fn fails
// or the test says so.
func (j *Journal) FollowAll(ctx context.Context, after uint64, fn func(*batch.Entry) error) error {
	if last := j.Newest(); after > last {
		return &batch.RolledBackError{Last: last}
	}
	j.mu.Lock()
	j.From = append(j.From, after)
	j.mu.Unlock()
	for {
		j.mu.Lock()
		entries, grew := j.Entries, j.grew
		j.mu.Unlock()
		for i, e := range entries {
			if e.Position <= after {
				continue
			}
			which := []int{i}
			if j.Again != nil {
				which = append(which, j.Again(i)...)
			}
			for _, k := range which {
				if err := j.hand(ctx, entries[k], fn); err != nil {
					return err
				}
			}
			after = e.Position
		}
		if j.AtEnd != nil {
			if err := j.AtEnd(ctx); err != nil {
				return err
			}
		}
		select {
		case <-grew:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// FollowBerth is FollowAll of a journal that has one berth.
func (j *Journal) FollowBerth(ctx context.Context, _ string, after uint64, fn func(*batch.Entry) error) error {
	return j.FollowAll(ctx, after, fn)
}

// hand gives an entry whose bytes are gone after the call.
func (j *Journal) hand(ctx context.Context, e batch.Entry, fn func(*batch.Entry) error) error {
	if j.Before != nil {
		if err := j.Before(&e); err != nil {
			return err
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	e.Data, e.Refused = slices.Clone(e.Data), slices.Clone(e.Refused)
	err := fn(&e)
	clear(e.Data)
	clear(e.Refused)
	return err
}
