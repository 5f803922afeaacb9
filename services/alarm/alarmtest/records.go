// Package alarmtest has an alarm log's storage in memory, with the faults of a
// real one, for the tests of whatever keeps or reads alarms.
package alarmtest

import (
	"context"
	"slices"
	"sync"
)

// Records is alarm.Records in memory. Its fields are the test's while no call is
// under way. The zero value is empty and faultless.
type Records struct {
	// Kept are the records, whichever log they are of.
	Kept [][]byte
	// Gap is how many positions are left out before each record.
	Gap uint64
	// Fault decides about each append: kept says whether the record is kept, err
	// what the caller is told. nil keeps all.
	Fault func() (kept bool, err error)

	mu sync.Mutex
}

// Count is how many records are kept, also while calls are under way.
func (r *Records) Count() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return len(r.Kept)
}

// AppendRecord keeps a record unless Fault says otherwise.
func (r *Records) AppendRecord(ctx context.Context, _ string, data []byte) (uint64, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	kept, err := true, error(nil)
	if r.Fault != nil {
		kept, err = r.Fault()
	}
	if kept {
		r.Kept = append(r.Kept, slices.Clone(data))
	}
	return uint64(len(r.Kept)) * (r.Gap + 1), err
}

// ReadRecords hands over the records after a position.
func (r *Records) ReadRecords(ctx context.Context, _ string, after uint64, fn func(position uint64, data []byte) error) error {
	r.mu.Lock()
	kept := r.Kept
	r.mu.Unlock()
	for i, record := range kept {
		position := uint64(i+1) * (r.Gap + 1)
		if position <= after {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := fn(position, slices.Clone(record)); err != nil {
			return err
		}
	}
	return nil
}
