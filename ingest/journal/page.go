package journal

import (
	"context"
	"slices"
	"sync"
	"time"
)

const (
	pageSize   = 64       // positions a page
	cachedSize = 64 << 20 // bytes of pages kept that nobody is on
	parkedMax  = 4        // scans kept open between two pages
	parkedFor  = 3 * time.Second
)

// page is the entries of pageSize consecutive positions. One goroutine fills it,
// any number of followers read it.
type page struct {
	first, last Position
	epoch       context.Context    // the connection it is read by
	cancel      context.CancelFunc // of filling

	users int   // guarded by pages.mu
	bytes int64 // guarded by pages.mu; set when full

	mu      sync.Mutex
	entries []*Entry // rising; entries already there never change
	full    bool
	resume  Position // once full: where the next entry can be
	err     error    // why it will not become full
	waiters []*waiter
}

// waiter is a follower at the end of a page that still fills.
type waiter struct {
	berth string // "" for all
	wake  chan struct{}
}

// after returns the entries from index i. If there are none and the page can
// still grow, w is woken when that changes for its berth.
func (pg *page) after(i int, w *waiter) (entries []*Entry, full bool, err error) {
	pg.mu.Lock()
	defer pg.mu.Unlock()
	if i < len(pg.entries) {
		return pg.entries[i:], false, nil
	}
	if !pg.full && pg.err == nil {
		if !slices.Contains(pg.waiters, w) {
			pg.waiters = append(pg.waiters, w)
		}
	}
	return nil, pg.full, pg.err
}

// leave takes back a waiter.
func (pg *page) leave(w *waiter) {
	pg.mu.Lock()
	defer pg.mu.Unlock()
	pg.waiters = slices.DeleteFunc(pg.waiters, func(o *waiter) bool { return o == w })
}

// newest is the last position filled in so far.
func (pg *page) newest() Position {
	pg.mu.Lock()
	defer pg.mu.Unlock()
	if n := len(pg.entries); n > 0 {
		return pg.entries[n-1].Position
	}
	return pg.first - min(pg.first, 1)
}

func (pg *page) add(e *Entry) {
	pg.mu.Lock()
	defer pg.mu.Unlock()
	pg.entries = append(pg.entries, e)
	pg.wakeLocked(e.Berth)
}

func (pg *page) finish(resume Position, err error) {
	pg.mu.Lock()
	defer pg.mu.Unlock()
	pg.full, pg.resume, pg.err = err == nil, resume, err
	pg.wakeLocked("")
}

// wakeLocked wakes the followers of a berth and of all, or everybody for "".
func (pg *page) wakeLocked(berth string) {
	pg.waiters = slices.DeleteFunc(pg.waiters, func(w *waiter) bool {
		if berth != "" && w.berth != "" && w.berth != berth {
			return false
		}
		select {
		case w.wake <- struct{}{}:
		default:
		}
		return true
	})
}

// pages is the pages in memory and the scans that fill them.
type pages struct {
	j  *Journal
	wg sync.WaitGroup

	mu     sync.Mutex
	at     map[Position]*page // by first
	unused []*page            // full and nobody on them, oldest first
	bytes  int64              // of unused
	parked []*scan            // between two pages, oldest first
	closed bool
}

func newPages(j *Journal) *pages { return &pages{j: j, at: make(map[Position]*page)} }

// acquire returns the page of a position, which fills from now on if it is new.
// The caller releases it.
func (ps *pages) acquire(pos Position) (*page, error) {
	first := pos - pos%pageSize
	ps.mu.Lock()
	defer ps.mu.Unlock()
	if ps.closed {
		return nil, ErrClosed
	}
	epoch := ps.j.epoch.now()
	pg := ps.at[first]
	if pg != nil && pg.epoch != epoch {
		// Of a connection before: a server that has lost its end since would have
		// other entries here.
		ps.unuseLocked(pg)
		ps.forgetLocked(pg)
		pg = nil
	}
	if pg == nil {
		var ctx context.Context
		pg = &page{first: first, last: first + pageSize - 1, epoch: epoch, entries: make([]*Entry, 0, pageSize)}
		ctx, pg.cancel = within(ps.j.ctx, epoch, errWentBack)
		ps.at[first] = pg
		s := ps.unparkLocked(first)
		ps.wg.Go(func() { ps.fill(ctx, pg, s) })
	} else if pg.users == 0 {
		ps.unuseLocked(pg)
	}
	pg.users++
	return pg, nil
}

// release gives a page back. One that still fills is given up when nobody is on
// it; a full one stays while there is room.
func (ps *pages) release(pg *page) {
	ps.mu.Lock()
	defer ps.mu.Unlock()
	if pg.users--; pg.users > 0 {
		return
	}
	if pg.bytes == 0 {
		pg.cancel()
		ps.forgetLocked(pg)
		return
	}
	if ps.at[pg.first] != pg {
		return
	}
	ps.unused = append(ps.unused, pg)
	ps.bytes += pg.bytes
	for ps.bytes > cachedSize {
		old := ps.unused[0]
		ps.unused = ps.unused[1:]
		ps.bytes -= old.bytes
		ps.forgetLocked(old)
	}
}

// unuseLocked takes a page from those that nobody is on.
func (ps *pages) unuseLocked(pg *page) {
	if i := slices.Index(ps.unused, pg); i >= 0 {
		ps.unused = slices.Delete(ps.unused, i, i+1)
		ps.bytes -= pg.bytes
	}
}

func (ps *pages) forgetLocked(pg *page) {
	if ps.at[pg.first] == pg {
		delete(ps.at, pg.first)
	}
}

// fill reads a page's entries. It runs on its own goroutine.
func (ps *pages) fill(ctx context.Context, pg *page, s *scan) {
	defer pg.cancel()
	if s == nil {
		s = newScan(ps.j, ps.j.telemetry, "", pg.first)
	}
	size := int64(1) // not 0, which is a page that still fills
	for {
		m, err := s.peek(ctx)
		if err != nil {
			s.close()
			if ps.j.ctx.Err() != nil {
				err = ErrClosed
			}
			ps.mu.Lock()
			ps.forgetLocked(pg)
			ps.mu.Unlock()
			pg.finish(0, err)
			return
		}
		if m.pos > pg.last {
			ps.filled(pg, m.pos, size, s)
			return
		}
		s.ahead = nil
		size += int64(len(m.msg.Data())) + 256
		if e, err := parseEntry(m.msg.Subject(), m.msg.Headers()); err != nil {
			ps.j.log.Error("journal entry is not ours", "position", m.pos, "err", err)
		} else {
			e.Data, e.Position, e.Stored = m.msg.Data(), m.pos, m.stored
			pg.add(e)
		}
		if m.pos == pg.last {
			ps.filled(pg, pg.last+1, size, s)
			return
		}
	}
}

// filled keeps the scan for the page it has come to and completes the page.
func (ps *pages) filled(pg *page, resume Position, size int64, s *scan) {
	var old *scan
	ps.mu.Lock()
	pg.bytes = size
	if ps.closed || pg.users == 0 {
		// Given up as it became full: leave no page that nobody will release.
		ps.forgetLocked(pg)
		old = s
	} else {
		s.parked = time.Now()
		ps.parked = append(ps.parked, s)
		if len(ps.parked) > parkedMax {
			old, ps.parked = ps.parked[0], ps.parked[1:]
		}
	}
	ps.mu.Unlock()
	pg.finish(resume, nil)
	if old != nil {
		old.close()
	}
}

// unparkLocked returns a scan that has come to the page beginning at first.
func (ps *pages) unparkLocked(first Position) *scan {
	for i, s := range ps.parked {
		at := s.next
		if s.ahead != nil {
			at = s.ahead.pos
		}
		if at-at%pageSize == first && time.Since(s.parked) < parkedFor && s.epoch.Err() == nil {
			ps.parked = slices.Delete(ps.parked, i, i+1)
			return s
		}
	}
	return nil
}

// sweep closes scans that have been parked too long.
func (ps *pages) sweep() {
	ps.mu.Lock()
	var old []*scan
	ps.parked = slices.DeleteFunc(ps.parked, func(s *scan) bool {
		if time.Since(s.parked) < parkedFor {
			return false
		}
		old = append(old, s)
		return true
	})
	ps.mu.Unlock()
	for _, s := range old {
		s.close()
	}
}

// close ends filling and waits for it. The journal's context has ended.
func (ps *pages) close() {
	ps.mu.Lock()
	ps.closed = true
	parked := ps.parked
	ps.parked = nil
	ps.mu.Unlock()
	ps.wg.Wait()
	for _, s := range parked {
		s.close()
	}
}
