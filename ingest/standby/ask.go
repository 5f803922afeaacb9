package standby

import (
	"context"
	"fmt"
	"io"
	"time"

	"hawser/ingest/journal"
)

// Bounds is that of journal.Journal, with what is in memory.
func (j *Journal) Bounds(ctx context.Context) (first, last journal.Position, err error) {
	st := j.now()
	if st.memory != nil {
		return st.memory.base + 1, st.memory.end(), nil
	}
	return st.disk.Load().Bounds(ctx)
}

// Unread is that of journal.Journal. While nothing is kept it is nothing: those who
// watch read memory as it fills, others wait.
func (j *Journal) Unread(ctx context.Context) (map[string]time.Duration, error) {
	st := j.now()
	if st.memory != nil {
		return map[string]time.Duration{}, nil
	}
	ages, err := st.disk.Load().Unread(ctx)
	if j.over(st, err) { // in case nothing else meets it
		err = fmt.Errorf("%w: %w", ErrUnkept, err)
	}
	return ages, err
}

// Snapshot is that of journal.Journal. While nothing is kept it is refused.
func (j *Journal) Snapshot(ctx context.Context, part journal.Part, w io.Writer) error {
	st := j.now()
	if st.memory != nil {
		return fmt.Errorf("copy of the journal: %w", ErrUnkept)
	}
	return st.disk.Load().Snapshot(ctx, part, w)
}

// Newest is that of journal.Journal. While nothing is kept it is none: what comes then is
// of the present.
func (j *Journal) Newest(ctx context.Context, berth string) ([]journal.Entry, error) {
	st := j.now()
	if st.memory != nil {
		return nil, nil
	}
	return st.disk.Load().Newest(ctx, berth)
}
