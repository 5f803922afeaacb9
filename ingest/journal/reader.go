package journal

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// Where a limit is told of, and where it is told to be well again, as shares of
// it. common practice, no source.
const (
	pressureOn, pressureOff = 0.75, 0.60
	diskOn, diskOff         = 0.95, 0.92
)

// PressureKind is what runs short.
type PressureKind string

const (
	// UnreadBytes: what a reader has not read nears MaxBytes, where it is dropped.
	UnreadBytes PressureKind = "unread-bytes"
	// UnreadAge: the oldest entry a reader has not read nears MaxAge.
	UnreadAge PressureKind = "unread-age"
	// Disk: the journal's disk is nearly full.
	Disk PressureKind = "disk"
)

// Pressure is a limit that is near (Raised) or no longer near.
type Pressure struct {
	Kind   PressureKind
	Reader string  // "" for Disk
	Share  float64 // of the limit; at 1 entries are lost
	Raised bool
}

const maxReaders = 1024

// readers is the registered readers by name.
type readers struct {
	mu sync.Mutex
	m  map[string]*reader
}

// register puts a reader in the place of an earlier one of its name.
func (rs *readers) register(o FollowOptions) (*reader, error) {
	r := &reader{name: o.Reader, berth: o.Berth, pos: o.After}
	if o.Reader == "" {
		return r, nil
	}
	rs.mu.Lock()
	defer rs.mu.Unlock()
	if rs.m == nil {
		rs.m = make(map[string]*reader)
	}
	if rs.m[o.Reader] == nil && len(rs.m) >= maxReaders {
		return nil, fmt.Errorf("journal: reader %s: there are %d readers already", o.Reader, maxReaders)
	}
	rs.m[o.Reader] = r
	return r, nil
}

func (rs *readers) list() []*reader {
	rs.mu.Lock()
	defer rs.mu.Unlock()
	list := make([]*reader, 0, len(rs.m))
	for _, r := range rs.m {
		list = append(list, r)
	}
	return list
}

// reader is how far a reader is.
type reader struct {
	name, berth string

	mu   sync.Mutex
	pos  Position  // passed
	busy time.Time // Stored of the entry in hand, zero when there is none
	page *page     // on it
}

func (r *reader) on(pg *page) {
	r.mu.Lock()
	r.page = pg
	r.mu.Unlock()
}

func (r *reader) left() { r.on(nil) }

func (r *reader) handling(e *Entry) {
	r.mu.Lock()
	r.busy = e.Stored
	r.mu.Unlock()
}

func (r *reader) passed(e *Entry) {
	r.mu.Lock()
	r.busy, r.pos = time.Time{}, e.Position
	r.mu.Unlock()
}

// watch looks at the limits until Close.
func (j *Journal) watch() {
	tick := time.NewTicker(j.o.checkEvery)
	defer tick.Stop()
	raised := make(map[Pressure]bool) // keys have Kind and Reader only
	for {
		select {
		case <-tick.C:
		case <-j.ctx.Done():
			return
		}
		j.pages.sweep()
		j.checkLimits(raised)
	}
}

// checkLimits sets the gauges and tells of limits that came near or went.
func (j *Journal) checkLimits(raised map[Pressure]bool) {
	tell := func(kind PressureKind, reader string, share, on, off float64) {
		key := Pressure{Kind: kind, Reader: reader}
		now := raised[key]
		switch {
		case !now && share >= on:
			now = true
		case now && share < off:
			now = false
		default:
			return
		}
		raised[key] = now
		j.log.Warn("journal limit", "kind", kind, "reader", reader, "share", share, "near", now)
		if j.o.OnPressure != nil {
			j.o.OnPressure(Pressure{Kind: kind, Reader: reader, Share: share, Raised: now})
		}
	}
	if j.embedded() {
		if free, err := freeShare(j.o.Dir); err == nil {
			j.m.free.Set(free)
			tell(Disk, "", 1-free, diskOn, diskOff)
		}
	}
	info, err := j.telemetry.Info(j.ctx)
	if err != nil {
		j.log.Warn("journal limits not known", "err", err)
		return
	}
	first, last := bounds(info.State)
	j.m.storedBytes.Set(float64(info.State.Bytes))
	j.m.first.Set(float64(first))
	j.m.last.Set(float64(last))
	for _, r := range j.readers.list() {
		u, err := j.unreadBy(r, first, last, info.State.Bytes)
		if err != nil {
			j.log.Warn("journal reader's lag not known", "reader", r.name, "err", err)
			continue
		}
		j.m.lag.WithLabelValues(r.name).Set(float64(u.entries))
		j.m.unreadBytes.WithLabelValues(r.name).Set(u.bytes)
		j.m.unreadAge.WithLabelValues(r.name).Set(u.age.Seconds())
		tell(UnreadBytes, r.name, u.bytes/float64(j.o.MaxBytes), pressureOn, pressureOff)
		if j.o.MaxAge > 0 {
			tell(UnreadAge, r.name, u.age.Seconds()/j.o.MaxAge.Seconds(), pressureOn, pressureOff)
		}
	}
}

// Unread is the age of the oldest entry that each registered reader has not
// finished with, 0 for one that has them all, by the reader's name.
func (j *Journal) Unread(ctx context.Context) (map[string]time.Duration, error) {
	info, err := j.telemetry.Info(ctx)
	if err != nil {
		return nil, j.readError(err)
	}
	first, last := bounds(info.State)
	ages := map[string]time.Duration{}
	for _, r := range j.readers.list() {
		u, err := j.unreadBy(r, first, last, info.State.Bytes)
		if err != nil {
			return nil, fmt.Errorf("reader %s: %w", r.name, j.readError(err))
		}
		ages[r.name] = u.age
	}
	return ages, nil
}

type unread struct {
	entries uint64
	bytes   float64 // estimated by the share of the positions
	age     time.Duration
}

// unreadBy is what a reader has not read: what lies behind the entry it has in
// hand, or what has not come to the page it waits on, or for one that is not
// following, what lies behind the first entry it would be given.
func (j *Journal) unreadBy(r *reader, first, last Position, stored uint64) (u unread, err error) {
	r.mu.Lock()
	pos, since, page := r.pos, r.busy, r.page
	r.mu.Unlock()
	switch {
	case !since.IsZero():
	case page != nil:
		pos = max(pos, page.newest())
	default:
		filter := telemetryPrefix + ">"
		if r.berth != "" {
			filter = telemetryPrefix + r.berth + ".*"
		}
		m, err := j.telemetry.GetMsg(j.ctx, uint64(pos+1), jetstream.WithGetMsgSubject(filter))
		if errors.Is(err, jetstream.ErrMsgNotFound) {
			return unread{}, nil
		}
		if err != nil {
			return unread{}, err
		}
		pos, since = Position(m.Sequence)-1, m.Time
	}
	if pos >= last {
		return unread{}, nil
	}
	u.entries = uint64(last - pos)
	u.bytes = float64(stored) * min(1, float64(u.entries)/float64(last+1-first))
	if !since.IsZero() {
		u.age = max(0, time.Since(since))
	}
	return u, nil
}
