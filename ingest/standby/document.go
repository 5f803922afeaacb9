package standby

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"hawser/ingest/journal"
)

// What documents may take in memory, bytes; those that are on disk half of it. A plan is
// some ten thousand.
const heldBytes = 32 << 20

// document is one of a bucket to be held.
type document struct {
	bucket, key string
	data        []byte
	kept        bool // on disk, unless that has lost it
}

// Put is that of journal.Journal. While nothing is kept a document of a bucket to be
// held is in memory; another is refused with ErrUnkept.
func (j *Journal) Put(ctx context.Context, bucket, key string, data []byte) error {
	if err := journal.CheckDocument(bucket, key, data); err != nil {
		return err // as of records
	}
	for began := time.Now(); ; {
		st := j.now()
		if st.memory != nil {
			if err := j.hold(st, bucket, key, data); !errors.Is(err, errOver) {
				return err
			}
			continue
		}
		err := st.disk.Load().Put(ctx, bucket, key, data)
		if j.mayAnswer(ctx, began, err) {
			continue
		}
		if err == nil {
			return j.hold(nil, bucket, key, data)
		}
		if !j.over(st, err) {
			return err
		}
		if err := j.after(ctx, st); err != nil {
			return err
		}
	}
}

// mayAnswer reports whether to ask a server outside again, after a while: before Run
// nothing stands in for it, and a cluster that has just lost a server answers once it
// has agreed on who leads.
func (j *Journal) mayAnswer(ctx context.Context, began time.Time, err error) bool {
	if j.inside() || j.running.Load() || !errors.Is(err, journal.ErrUnavailable) || time.Since(began) > time.Minute {
		return false
	}
	select {
	case <-time.After(250 * time.Millisecond):
		return true
	case <-ctx.Done():
	case <-j.closed:
	}
	return false
}

// errOver says that a stage has been followed by another.
var errOver = errors.New("over")

// hold keeps a document in memory, of a stage as long as that lasts; where st is nil it
// is on disk, and held for the server outside to lose it.
func (j *Journal) hold(st *stage, bucket, key string, data []byte) error {
	kept := st == nil
	switch held := slices.Contains(j.o.Hold, bucket); {
	case kept && (!held || j.inside()):
		return nil
	case !held:
		return fmt.Errorf("document %s/%s: %w", bucket, key, ErrUnkept)
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	if !kept && j.stage != st {
		return errOver
	}
	size := len(data)
	for _, other := range j.held {
		size += len(other.data)
	}
	if !kept && size > heldBytes {
		return fmt.Errorf("document %s/%s: %w, and memory holds no more documents", bucket, key, ErrUnkept)
	}
	j.held = append(j.held, &document{bucket, key, bytes.Clone(data), kept})
	for size > heldBytes/2 && j.held[0].kept {
		size -= len(j.held[0].data)
		j.held = j.held[1:]
	}
	return nil
}

// Get is that of journal.Journal, with those in memory.
func (j *Journal) Get(ctx context.Context, bucket, key string) (data []byte, ok bool, err error) {
	j.mu.Lock()
	st := j.stage
	for _, d := range slices.Backward(j.held) {
		if d.bucket == bucket && d.key == key && !d.kept {
			j.mu.Unlock()
			return bytes.Clone(d.data), true, nil
		}
	}
	j.mu.Unlock()
	disk := st.disk.Load()
	if disk == nil {
		return nil, false, fmt.Errorf("document %s/%s: %w", bucket, key, errOpening)
	}
	for began := time.Now(); ; {
		if data, ok, err = disk.Get(ctx, bucket, key); !j.mayAnswer(ctx, began, err) {
			return data, ok, err
		}
	}
}

// Keys is that of journal.Journal, with those in memory.
func (j *Journal) Keys(ctx context.Context, bucket string) ([]string, error) {
	disk := j.now().disk.Load()
	if disk == nil {
		return nil, fmt.Errorf("bucket %s: %w", bucket, errOpening)
	}
	keys, err := disk.Keys(ctx, bucket)
	if err != nil {
		return nil, err
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	for _, d := range j.held {
		if d.bucket == bucket && !d.kept {
			keys = append(keys, d.key)
		}
	}
	slices.Sort(keys)
	return slices.Compact(keys), nil
}

// errOpening is for who reads the journal while it is being opened.
var errOpening = errors.New("the journal is being opened anew")

// writeHeld writes the documents in memory to a disk, in the order they came; again says
// that those which were there are written too, as a server outside may have lost them.
func (j *Journal) writeHeld(ctx context.Context, disk *journal.Journal, again bool) error {
	for ; ; again = false {
		j.mu.Lock()
		held := slices.DeleteFunc(slices.Clone(j.held), func(d *document) bool { return d.kept && !again })
		j.mu.Unlock()
		if len(held) == 0 {
			return nil
		}
		for _, d := range held {
			if err := disk.Put(ctx, d.bucket, d.key, d.data); err != nil {
				return err
			}
			j.mu.Lock()
			d.kept = true
			j.mu.Unlock()
		}
	}
}
