package standby

import (
	"context"
	"errors"
	"sync/atomic"
	"time"

	"hawser/ingest/journal"
)

// Follow is that of journal.Journal; its reader must have a name. While nothing is
// kept it waits.
func (j *Journal) Follow(ctx context.Context, o journal.FollowOptions, handle func(*journal.Entry) error) error {
	return j.follow(ctx, o, false, handle)
}

// Watch is Follow for who is to have what is not kept as well.
func (j *Journal) Watch(ctx context.Context, o journal.FollowOptions, handle func(*journal.Entry) error) error {
	return j.follow(ctx, o, true, handle)
}

func (j *Journal) follow(ctx context.Context, o journal.FollowOptions, unkept bool, handle func(*journal.Entry) error) error {
	var refused error
	pass := func(e *journal.Entry) error {
		if refused = handle(e); refused == nil {
			o.After, o.AfterStored = e.Position, e.Stored
		}
		return refused
	}
	for {
		st := j.now()
		var err error
		switch {
		case st.memory == nil:
			err = j.followDisk(ctx, st, o, pass)
		case unkept:
			o.After, err = j.followMemory(ctx, st, o, pass)
		}
		var lost *journal.RolledBackError
		switch {
		case refused != nil:
			return refused
		case errors.As(err, &lost) || ctx.Err() != nil:
			return err
		case err != nil && st.ctx.Err() == nil && !j.over(st, err):
			return err
		}
		if err := j.after(ctx, st); err != nil {
			return err
		}
	}
}

// drainFor is how long a reader of a disk that failed may read to its end.
const drainFor = time.Second

// followDisk follows a stage's disk as long as the stage lasts, and to the end of what
// it has.
func (j *Journal) followDisk(ctx context.Context, st *stage, o journal.FollowOptions, handle func(*journal.Entry) error) error {
	if err := j.rolledBack(o); err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	var at atomic.Uint64
	at.Store(uint64(o.After))
	drained := func() bool { return st.ctx.Err() != nil && journal.Position(at.Load()) >= st.last }
	defer context.AfterFunc(st.ctx, func() {
		if drained() {
			cancel()
			return
		}
		late := time.AfterFunc(drainFor, cancel)
		context.AfterFunc(ctx, func() { late.Stop() })
	})()
	return st.disk.Load().Follow(ctx, o, func(e *journal.Entry) error {
		j.saw(e.Position)
		err := handle(e)
		at.Store(uint64(e.Position))
		if drained() {
			cancel()
		}
		return err
	})
}

// rolledBack tells a reader that comes to the disk again that it has seen what was
// in memory only.
func (j *Journal) rolledBack(o journal.FollowOptions) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.readers[o.Reader] = true
	last, told := j.back[o.Reader]
	delete(j.back, o.Reader)
	if told && o.After > last {
		return &journal.RolledBackError{After: o.After, Last: last, Resume: last}
	}
	return nil
}

// followMemory follows a stage's memory as long as the stage lasts, and returns up to
// where it came.
func (j *Journal) followMemory(ctx context.Context, st *stage, o journal.FollowOptions, handle func(*journal.Entry) error) (journal.Position, error) {
	j.mu.Lock()
	if st.ctx.Err() != nil { // nobody waits for who comes now
		j.mu.Unlock()
		return o.After, st.ctx.Err()
	}
	st.memory.watchers.Add(1)
	j.readers[o.Reader] = true
	j.mu.Unlock()
	defer st.memory.watchers.Done()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	defer context.AfterFunc(st.ctx, cancel)()
	return st.memory.follow(ctx, o.Berth, o.After, handle)
}
