package alarm

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sort"
	"time"
)

// tail is the newest records of the log, shared by all watchers: what one has
// still to read costs no memory of its own.
type tail struct {
	keep    int
	records []*Record // in order, at most 2*keep
	floor   uint64    // position of the newest record that is not among them
}

func newTail(keep int) tail { return tail{keep: keep} }

func (t *tail) add(r *Record) {
	if len(t.records) == 2*t.keep {
		t.floor = t.records[t.keep-1].Position
		t.records = append(t.records[:0:0], t.records[t.keep:]...)
	}
	t.records = append(t.records, r)
}

// after gives up to limit records after a position; ok is false where some of
// them are no longer in memory. They are not to be changed.
func (t *tail) after(position uint64, limit int) (records []*Record, ok bool) {
	if position < t.floor {
		return nil, false
	}
	i := sort.Search(len(t.records), func(i int) bool { return t.records[i].Position > position })
	return slices.Clone(t.records[i:min(len(t.records), i+limit)]), true
}

// ErrAhead says that a watcher asked for what comes after the log's end: it
// knows another log.
var ErrAhead = errors.New("position is past the end of the alarm log")

// pageSize is how many records a watcher reads at once.
const pageSize = 256

// Watch hands over every record of a berth, or of all for "", after a position
// of the log, each once and in order, and goes on as they are made until ctx
// ends, fn fails or the log is closed. fn may take its time: a watcher that has
// fallen behind what is in memory reads the log, and holds up nobody.
func (l *Log) Watch(ctx context.Context, berth string, after uint64, fn func(*Record) error) error {
	leave, err := l.enter(after)
	if err != nil {
		return err
	}
	defer leave()
	for {
		page, changed, err := l.page(ctx, after)
		if err != nil {
			return err
		}
		for _, r := range page {
			after = r.Position
			if r.Transition == 0 || berth != "" && r.Berth != berth {
				continue
			}
			if err := fn(r); err != nil {
				return err
			}
		}
		if len(page) > 0 {
			continue
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return ctx.Err()
		case <-l.unwatched:
			return ErrClosed
		}
	}
}

// Follow is Watch for who follows the log as long as it is open: where reading
// fails it begins again a second later, and where the log lost its end, as a power
// cut can make it, it goes on from there. An error of fn is tried again too. It
// returns when ctx ends or the log is closed.
func (l *Log) Follow(ctx context.Context, after uint64, fn func(*Record) error) {
	for {
		err := l.Watch(ctx, "", after, func(r *Record) error {
			if err := fn(r); err != nil {
				return err
			}
			after = r.Position
			return nil
		})
		switch {
		case ctx.Err() != nil || errors.Is(err, ErrClosed):
			return
		case errors.Is(err, ErrAhead):
			l.o.Logger.Warn("alarm log ends before what a follower has seen", "seen", after, "end", l.Position())
			after = l.Position()
			continue
		}
		l.o.Logger.Error("following the alarm log stopped, beginning again", "after", after, "err", err)
		select {
		case <-ctx.Done():
			return
		case <-time.After(time.Second):
		}
	}
}

// enter counts a watcher in.
func (l *Log) enter(after uint64) (leave func(), err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	select {
	case <-l.unwatched:
		return nil, ErrClosed
	default:
	}
	if after > l.fold.position {
		return nil, fmt.Errorf("%w: %d, the log ends at %d", ErrAhead, after, l.fold.position)
	}
	l.watchers.Add(1)
	l.m.watchers.Inc()
	return func() {
		l.m.watchers.Dec()
		l.watchers.Done()
	}, nil
}

// page gives the next records after a position, none at the end of the log;
// changed is closed when there are more.
func (l *Log) page(ctx context.Context, after uint64) (page []*Record, changed <-chan struct{}, err error) {
	l.mu.RLock()
	page, ok := l.tail.after(after, pageSize)
	changed = l.changed
	l.mu.RUnlock()
	if ok {
		return page, changed, nil
	}
	l.m.rereads.Inc()
	page, err = l.readPage(ctx, after)
	if err == nil && len(page) == 0 {
		err = fmt.Errorf("alarm log gives nothing after position %d, though it goes on", after)
	}
	return page, changed, err
}

var errPageFull = errors.New("page full")

// readPage reads records from the log. They are handed on afterwards, so that a
// slow watcher does not hold the log's reader.
func (l *Log) readPage(ctx context.Context, after uint64) ([]*Record, error) {
	var page []*Record
	err := l.o.Records.ReadRecords(ctx, l.o.Name, after, func(position uint64, data []byte) error {
		r, err := decode(position, data)
		if err != nil {
			r = &Record{Position: position} // told of when it was folded
		}
		if page = append(page, r); len(page) == pageSize {
			return errPageFull
		}
		return nil
	})
	if err != nil && !errors.Is(err, errPageFull) {
		return nil, fmt.Errorf("read alarm log after position %d: %w", after, err)
	}
	return page, nil
}
