package standby

import (
	"context"
	"fmt"

	"hawser/ingest/journal"
)

// Pending is an entry that was given to the journal.
type Pending struct {
	j     *Journal
	st    *stage
	disk  *journal.Pending // nil where it went to memory
	entry journal.Entry
}

// Wait returns the entry's position once it is stored as the journal promises, or
// ErrUnkept.
func (p *Pending) Wait(ctx context.Context) (journal.Position, error) {
	if p.disk == nil {
		return 0, ErrUnkept
	}
	pos, err := p.disk.Wait(ctx)
	switch {
	case err == nil:
		p.j.saw(pos)
		p.j.stored(&p.entry)
	case p.j.over(p.st, err):
		err = fmt.Errorf("%w: %w", ErrUnkept, err)
	}
	return pos, err
}

// saw notes that somebody knows a position on disk.
func (j *Journal) saw(pos journal.Position) {
	for {
		was := j.seen.Load()
		if uint64(pos) <= was || j.seen.CompareAndSwap(was, uint64(pos)) {
			return
		}
	}
}

const maxSources = 16384 // above this one is forgotten, and has to ask again

// source is what is known of a source of entries.
type source struct {
	durable uint64     // newest sequence known to be on disk
	outages uint64     // that had been when it asked where to go on
	way     []*Pending // to disk, oldest first
}

// sends puts an entry that is on its way after those of its source that still are;
// mu is held.
func (s *source) sends(p *Pending) {
	for len(s.way) > 0 && s.way[0].arrived() {
		s.way = s.way[1:]
	}
	s.way = append(s.way, p)
}

func (p *Pending) arrived() bool {
	select {
	case <-p.disk.Done():
		_, err := p.disk.Wait(context.Background())
		return err == nil
	default:
		return false
	}
}

// strayed gives the entries of a source that were on their way when the disk failed
// and that nobody has seen, once.
func (j *Journal) strayed(k string) (out []*journal.Entry) {
	j.mu.Lock()
	s := j.source(k)
	way := s.way
	s.way = nil
	j.mu.Unlock()
	for _, p := range way {
		if !p.arrived() && !p.disk.Seen() {
			out = append(out, &p.entry)
		}
	}
	return out
}

func key(berth, source string) string { return berth + "/" + source }

// source finds or makes what is known of a source; mu is held.
func (j *Journal) source(k string) *source {
	s := j.sources[k]
	if s == nil {
		if len(j.sources) >= maxSources {
			for other := range j.sources {
				delete(j.sources, other)
				break
			}
		}
		s = &source{}
		j.sources[k] = s
	}
	return s
}

func (j *Journal) stored(e *journal.Entry) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if s := j.sources[key(e.Berth, e.Source)]; s != nil {
		s.durable = max(s.durable, e.SourceSequence)
	}
}

// Append is that of journal.Journal, but that the entry's data is the journal's from
// then on. After a time in memory a source is refused with journal.ErrBroken until it
// has asked for its LastSequence: what it sent meanwhile is not there.
func (j *Journal) Append(ctx context.Context, e *journal.Entry) (*Pending, error) {
	k := key(e.Berth, e.Source)
	for {
		st := j.now()
		if st.memory != nil {
			for _, e := range append(j.strayed(k), e) {
				if st.memory.add(e) {
					j.m.unkept.Inc()
				}
			}
			return &Pending{j: j}, nil
		}
		if !j.knows(k) {
			return nil, fmt.Errorf("berth %s: source %s: %w: what it sent last was not kept", e.Berth, e.Source, journal.ErrBroken)
		}
		p, err := st.disk.Load().Append(ctx, e)
		switch {
		case err == nil:
			out := &Pending{j: j, st: st, disk: p, entry: *e}
			j.mu.Lock()
			j.source(k).sends(out)
			j.mu.Unlock()
			return out, nil
		case !j.over(st, err):
			return nil, err
		}
		if err := j.after(ctx, st); err != nil {
			return nil, err
		}
	}
}

// knows reports whether a source has nothing in memory alone.
func (j *Journal) knows(k string) bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	s := j.sources[k]
	return j.outages == 0 || s != nil && s.outages == j.outages
}

// LastSequence is that of journal.Journal: what is in memory does not count.
func (j *Journal) LastSequence(ctx context.Context, berth, source string) (uint64, error) {
	k := key(berth, source)
	for {
		st := j.now()
		if st.memory != nil {
			j.mu.Lock()
			defer j.mu.Unlock()
			return j.source(k).durable, nil
		}
		last, err := st.disk.Load().LastSequence(ctx, berth, source)
		if err == nil {
			j.mu.Lock()
			same := j.stage == st
			if same {
				s := j.source(k)
				s.durable, s.outages, s.way = last, j.outages, nil // what was on its way is there or lost
			}
			j.mu.Unlock()
			if same {
				return last, nil
			}
			continue
		}
		if !j.over(st, err) {
			return 0, err
		}
		if err := j.after(ctx, st); err != nil {
			return 0, err
		}
	}
}
