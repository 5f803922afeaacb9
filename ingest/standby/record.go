package standby

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"sort"

	"hawser/ingest/journal"
)

// What records may take in memory, bytes. An alarm's is some hundred.
const (
	recordBytes = 32 << 20 // of those that are not on disk
	recentBytes = 1 << 20  // of those that are, should the disk lose them
)

// records is the way of records to disk. One is on the way at a time, so that the
// position of the next is known.
type records struct {
	turn chan struct{} // a mutex that a context can leave, for what follows

	disk *journal.Journal // nil while they go to memory
	err  error            // why one went to memory first, nil where it was not for its own
	last uint64           // position of the newest
	kept uint64           // and of the newest on disk
	held []record         // the newest up to last, rising: all after kept, and some before
	size int              // of held, bytes
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

// hold keeps a record in memory.
func (r *records) hold(next record) {
	r.last = next.position
	r.held = append(r.held, next)
	r.size += len(next.data)
	for r.kept == r.last && r.size > recentBytes {
		r.size -= len(r.held[0].data)
		r.held = r.held[1:]
	}
}

// after gives those in memory that come after a position.
func (r *records) after(position uint64) []record {
	i := sort.Search(len(r.held), func(i int) bool { return r.held[i].position > position })
	return r.held[i:]
}

// AppendRecord is that of journal.Journal. While nothing is kept the record is in
// memory, with the position it will have on disk.
func (j *Journal) AppendRecord(ctx context.Context, log string, data []byte) (uint64, error) {
	// What the disk would never take must not be held: nothing else would come back to it.
	if err := journal.CheckRecord(log, data); err != nil {
		return 0, err
	}
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
			r.kept = pos
			r.hold(record{pos, log, bytes.Clone(data)})
			return pos, nil
		}
		if !j.running.Load() || !j.takesNothing(err) {
			return 0, err
		}
		j.over(j.now(), err)
		r.disk, r.err = nil, err
	}
	if r.size+len(data) > recordBytes {
		return 0, fmt.Errorf("log %s: %w, and memory holds no more records", log, ErrUnkept)
	}
	r.hold(record{r.last + 1, log, bytes.Clone(data)})
	return r.last, nil
}

// ReadRecords is that of journal.Journal, with those in memory.
func (j *Journal) ReadRecords(ctx context.Context, log string, after uint64, handle func(pos uint64, data []byte) error) error {
	if err := j.records.take(ctx); err != nil {
		return err
	}
	kept, memory := j.records.kept, j.records.after(j.records.kept)
	j.records.leave()
	if after < kept {
		disk := j.now().disk.Load()
		if disk == nil {
			return fmt.Errorf("log %s: %w", log, errOpening)
		}
		var refused error
		err := disk.ReadRecords(ctx, log, after, func(pos uint64, data []byte) error {
			if pos > kept && len(memory) > 0 {
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

// restore writes those in memory to a disk and sends what comes there. The disk may
// have lost its end, which is written again and gets the positions that it had; and the
// first that was not kept may be on it already: it was under way when the disk failed.
func (r *records) restore(ctx context.Context, disk *journal.Journal) error {
	if err := r.take(ctx); err != nil {
		return err
	}
	defer r.leave()
	last, err := disk.LastRecord(ctx)
	if err != nil {
		return err
	}
	if last < r.kept {
		if lost := r.after(last); len(lost) == 0 || lost[0].position != last+1 {
			return errMoved
		}
		r.kept = last
	}
	moved := false
	if rest := r.after(r.kept); len(rest) > 0 && last == rest[0].position {
		if moved, err = otherThere(ctx, disk, rest[0]); err != nil {
			return err
		}
		if !moved {
			r.kept = last
		}
	}
	for _, next := range r.after(r.kept) {
		pos, err := disk.AppendRecord(ctx, next.log, next.data)
		if err != nil {
			return err
		}
		moved = moved || pos != next.position
		r.kept = next.position
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
// one came to disk late that had been given up, or are gone from it and from memory too:
// only who reads them all anew has them right.
var errMoved = errors.New("records on disk are not those that were in memory")

// otherThere reports whether the disk has another record where one in memory is.
func otherThere(ctx context.Context, disk *journal.Journal, r record) (other bool, err error) {
	other = true
	err = disk.ReadRecords(ctx, r.log, r.position-1, func(pos uint64, data []byte) error {
		if pos == r.position {
			other = !bytes.Equal(data, r.data)
		}
		return nil
	})
	return other, err
}
