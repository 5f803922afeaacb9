package watch_test

import (
	"context"
	"fmt"
	"hawser/ingest/batch"
	"slices"
	"sync"
)

// rolledBack is what the journal says to a reader that stands past its end.
type rolledBack struct{ after, last uint64 }

func (e *rolledBack) Error() string {
	return fmt.Sprintf("position %d was rolled back: the journal ends at %d", e.after, e.last)
}

// journal is one berth's entries in memory.
type journal struct {
	mu       sync.Mutex
	entries  []batch.Entry
	grew     chan struct{} // closed and replaced when there are more
	snapshot []byte
	saved    int
	from     []uint64 // where each follower began

	last   func() (uint64, error)          // nil: of the newest entry
	save   func(data []byte) error         // nil: takes all
	saving func(ctx context.Context) error // nil: at once
	load   func() error                    // nil: nothing
	before func(e *batch.Entry) error      // called before an entry is handed over
	atEnd  func(ctx context.Context) error // nil: waits for more
	again  int                             // every tenth entry is followed by this many of those before
}

func newJournal(entries ...batch.Entry) *journal {
	return &journal{entries: entries, grew: make(chan struct{})}
}

func (j *journal) add(entries ...batch.Entry) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.entries = append(j.entries, entries...)
	close(j.grew)
	j.grew = make(chan struct{})
}

func (j *journal) cut(last uint64) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.entries = slices.DeleteFunc(slices.Clone(j.entries), func(e batch.Entry) bool { return e.Position > last })
}

func (j *journal) end() uint64 {
	j.mu.Lock()
	defer j.mu.Unlock()
	if len(j.entries) == 0 {
		return 0
	}
	return j.entries[len(j.entries)-1].Position
}

func (j *journal) Last(ctx context.Context) (uint64, error) {
	if j.last != nil {
		return j.last()
	}
	return j.end(), ctx.Err()
}

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

func (j *journal) FollowBerth(ctx context.Context, _ string, after uint64, fn func(*batch.Entry) error) error {
	if last := j.end(); after > last {
		return &rolledBack{after, last}
	}
	j.mu.Lock()
	j.from = append(j.from, after)
	j.mu.Unlock()
	for {
		j.mu.Lock()
		entries, grew := j.entries, j.grew
		j.mu.Unlock()
		for i, e := range entries {
			if e.Position <= after {
				continue
			}
			if err := j.hand(ctx, e, fn); err != nil {
				return err
			}
			after = e.Position
			for k := max(0, i-j.again); k <= i && i%10 == 0 && j.again > 0; k++ {
				if err := j.hand(ctx, entries[k], fn); err != nil {
					return err
				}
			}
		}
		if j.atEnd != nil {
			if err := j.atEnd(ctx); err != nil {
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

// hand gives an entry whose bytes are gone after the call.
func (j *journal) hand(ctx context.Context, e batch.Entry, fn func(*batch.Entry) error) error {
	if j.before != nil {
		if err := j.before(&e); err != nil {
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
