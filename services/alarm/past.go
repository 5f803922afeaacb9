package alarm

import (
	"context"
	"math"
	"slices"
	"time"

	"hawser/detect"
)

// Past gives the alarms of a berth that were active at some time between two, oldest
// first, as they are now. It reads the whole log, and so has those too that are no
// longer in memory.
func (l *Log) Past(ctx context.Context, berth string, from, to time.Time) ([]State, error) {
	f := newFold(math.MaxInt)
	for end := l.Position(); f.position < end; {
		page, err := l.readPage(ctx, f.position)
		if err != nil {
			return nil, err
		}
		if len(page) == 0 {
			break
		}
		for _, r := range page {
			if r.Berth == berth {
				f.add(r)
			}
			f.position = r.Position
		}
	}
	all := slices.DeleteFunc(f.list(berth, true), func(s State) bool {
		return s.Raised.After(to) || !s.Active() && s.Cleared.Before(from)
	})
	OldestFirst(all)
	return all, nil
}

// Replayed makes the alarms of a replay out of the changes that detection made:
// nobody was told of them, so nobody acknowledged them. The zero value is ready. It is
// not safe for concurrent use.
type Replayed struct {
	all    []State
	active map[Subject]int // in all, by key
}

// Add takes the next change.
func (r *Replayed) Add(berth string, c *detect.Change) {
	if r.active == nil {
		r.active = map[Subject]int{}
	}
	s := subject(berth, c)
	k, known := r.active[s.key()]
	switch {
	case c.Raised && !known:
		r.active[s.key()] = len(r.all)
		r.all = append(r.all, State{Subject: s, Priority: c.Condition.Priority(), Raised: c.When(), Onset: onset(c),
			Measure: measured(c), Detail: c.Detail})
	case !c.Raised && known:
		r.all[k].Cleared = c.When()
		delete(r.active, s.key())
	}
}

// States gives the alarms, oldest first, as the log gives those of a past.
func (r *Replayed) States() []State {
	all := slices.Clone(r.all)
	OldestFirst(all)
	return all
}
