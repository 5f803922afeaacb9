package standby

import (
	"bytes"
	"context"
	"errors"
	"fmt"

	"hawser/ingest/journal"
)

// What records may take in memory, bytes. An alarm's is some hundred.
const recordBytes = 32 << 20

// records is the way of records to disk. One is on the way at a time, so that the
// position of the next is known.
type records struct {
	turn chan struct{} // a mutex that a context can leave, for what follows

	disk   *journal.Journal // nil while they go to memory
	err    error            // why one went to memory first, nil where it was not for its own
	last   uint64           // position of the newest
	memory []record         // those up to last that are not on disk
	bytes  int
}

type record struct {
	position uint64
	log      string
	data     []byte
}

func (r *records) take(ctx context.Context) error {
	select {
	case r.turn <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (r *records) leave() { <-r.turn }

// AppendRecord is that of journal.Journal. While nothing is kept the record is in
// memory, with the position it will have on disk.
func (j *Journal) AppendRecord(ctx context.Context, log string, data []byte) (uint64, error) {
	r := &j.records
	if err := r.take(ctx); err != nil {
		return 0, err
	}
	defer r.leave()
	if r.disk != nil {
		// Who gives it up on its way does not keep it from the disk, and its position is
		// not the next one's.
		pos, err := r.disk.AppendRecord(context.WithoutCancel(ctx), log, data)
		if err == nil {
			r.last = pos
			return pos, nil
		}
		if !j.running.Load() || !j.takesNothing(err) {
			return 0, err
		}
		j.over(j.now(), err)
		r.disk, r.err = nil, err
	}
	if r.bytes+len(data) > recordBytes {
		return 0, fmt.Errorf("log %s: %w, and memory holds no more records", log, ErrUnkept)
	}
	r.last++
	r.bytes += len(data)
	r.memory = append(r.memory, record{r.last, log, bytes.Clone(data)})
	return r.last, nil
}

// ReadRecords is that of journal.Journal, with those in memory.
func (j *Journal) ReadRecords(ctx context.Context, log string, after uint64, handle func(pos uint64, data []byte) error) error {
	if err := j.records.take(ctx); err != nil {
		return err
	}
	base, memory := j.records.last-uint64(len(j.records.memory)), j.records.memory
	j.records.leave()
	if after < base {
		disk := j.now().disk.Load()
		if disk == nil {
			return fmt.Errorf("log %s: %w", log, errOpening)
		}
		var refused error
		err := disk.ReadRecords(ctx, log, after, func(pos uint64, data []byte) error {
			if pos > base && len(memory) > 0 {
				return errEnough // what failed and came to disk all the same
			}
			after = pos
			refused = handle(pos, data)
			return refused
		})
		if refused != nil || err != nil && !errors.Is(err, errEnough) {
			return err
		}
	}
	for _, r := range memory {
		if r.log != log || r.position <= after {
			continue
		}
		if err := handle(r.position, r.data); err != nil {
			return err
		}
	}
	return nil
}

var errEnough = errors.New("enough")

// unkept sends what comes to memory.
func (r *records) unkept() {
	r.turn <- struct{}{}
	defer r.leave()
	r.disk = nil
}

// restore writes those in memory to a disk and sends what comes there. The first may
// be on it already: it was under way when the disk failed.
func (r *records) restore(ctx context.Context, disk *journal.Journal) error {
	if err := r.take(ctx); err != nil {
		return err
	}
	defer r.leave()
	last, err := disk.LastRecord(ctx)
	if err != nil {
		return err
	}
	moved := false
	if len(r.memory) > 0 && last == r.memory[0].position {
		if moved, err = r.otherThere(ctx, disk); err != nil {
			return err
		}
		if !moved {
			r.written()
		}
	}
	for len(r.memory) > 0 {
		next := r.memory[0]
		pos, err := disk.AppendRecord(ctx, next.log, next.data)
		if err != nil {
			return err
		}
		moved = moved || pos != next.position
		r.written()
	}
	if moved {
		return errMoved
	}
	r.disk, r.err = disk, nil
	return nil
}

// failed says why records go to memory, nil where they do not.
func (r *records) failed() error {
	r.turn <- struct{}{}
	defer r.leave()
	return r.err
}

// errMoved is when records are on disk at other positions than they had in memory, as
// one came to disk late that had been given up: only who reads them all anew has them
// right.
var errMoved = errors.New("records have other positions on disk than they had in memory")

// otherThere reports whether the disk has another record where the first in memory is.
func (r *records) otherThere(ctx context.Context, disk *journal.Journal) (other bool, err error) {
	first := r.memory[0]
	other = true
	err = disk.ReadRecords(ctx, first.log, first.position-1, func(pos uint64, data []byte) error {
		if pos == first.position {
			other = !bytes.Equal(data, first.data)
		}
		return nil
	})
	return other, err
}

// written lets the first record in memory go.
func (r *records) written() {
	r.bytes -= len(r.memory[0].data)
	r.memory = r.memory[1:]
}
