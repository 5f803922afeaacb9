package watch_test

import (
	"context"
	"hawser/ingest/batch"
	"hawser/ingest/batch/batchtest"
	"slices"
	"sync"
)

// journal is one berth's entries and its snapshot in memory.
type journal struct {
	*batchtest.Journal
	save   func(data []byte) error         // nil: takes all
	saving func(ctx context.Context) error // nil: at once
	load   func() error                    // nil: nothing

	mu       sync.Mutex
	snapshot []byte
	saved    int
}

func newJournal(entries ...batch.Entry) *journal { return &journal{Journal: batchtest.New(entries...)} }

func (j *journal) SaveSnapshot(ctx context.Context, _ string, data []byte) error {
	if j.saving != nil {
		if err := j.saving(ctx); err != nil {
			return err
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if j.save != nil {
		if err := j.save(data); err != nil {
			return err
		}
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	j.snapshot = slices.Clone(data)
	j.saved++
	return nil
}

func (j *journal) LoadSnapshot(context.Context, string) ([]byte, bool, error) {
	if j.load != nil {
		if err := j.load(); err != nil {
			return nil, false, err
		}
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.snapshot, j.saved > 0, nil
}
