package roll

import (
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"
	"time"

	bolt "go.etcd.io/bbolt"

	"hawser/detect/reading"
)

// Place is a berth's span of ten minutes.
type Place struct {
	Berth string
	Start int64 // Unix ns
}

// End is the first time after the span.
func (p Place) End() int64 { return p.Start + int64(Span) }

// maxPending is the most spans that wait: of 200 berths for a month.
const maxPending = 1 << 20

// ErrTooManyPending is too many spans that wait to be reckoned. It passes when some
// have been.
var ErrTooManyPending = errors.New("too many spans wait to be rolled up")

var pendingBucket = []byte("pending")

// Pending is the list of spans whose rolls are not what their readings are. It is
// on disk before a reading of theirs is stored.
type Pending struct {
	db *bolt.DB

	// changing lets one goroutine at a time change the list, on disk and then in
	// memory, so that looking at it never waits for the disk.
	changing sync.Mutex

	mu    sync.Mutex
	spans map[Place]*waiting
}

type waiting struct {
	appends int       // under way
	changes int       // appends begun so far
	touched time.Time // when the last of them ended
}

// OpenPending reads the list from a database, where it has a bucket of its own.
func OpenPending(db *bolt.DB) (*Pending, error) {
	p := &Pending{db: db, spans: make(map[Place]*waiting)}
	err := Soundly(func() error {
		return db.Update(func(tx *bolt.Tx) error {
			b, err := tx.CreateBucketIfNotExists(pendingBucket)
			if err != nil {
				return err
			}
			return b.ForEach(func(k, _ []byte) error {
				if len(k) > 8 {
					p.spans[Place{Berth: string(k[8:]), Start: int64(binary.BigEndian.Uint64(k))}] = &waiting{}
				}
				return nil
			})
		})
	})
	if err != nil {
		return nil, fmt.Errorf("spans to be rolled up: %w", err)
	}
	return p, nil
}

func (p Place) key() []byte {
	return append(binary.BigEndian.AppendUint64(make([]byte, 0, 8+len(p.Berth)), uint64(p.Start)), p.Berth...)
}

// Touched adds the spans that a block's readings are in to those of touched, where
// they begin at or after from and before to (Unix ns).
func Touched(touched map[Place]bool, berth string, b *reading.Block, from, to int64) {
	for i := range b.Series {
		in := Place{Berth: berth, Start: -1 << 62}
		for _, t := range b.Series[i].Time {
			if t >= in.Start && t < in.End() {
				continue
			}
			in.Start = Floor(t, int64(Span))
			if in.End() > from && in.Start < to {
				touched[in] = true
			}
		}
	}
}

// Begin puts spans on the list before readings of theirs are stored. End must
// follow where it gives no error, whether they were stored or not.
func (p *Pending) Begin(touched map[Place]bool) error {
	p.changing.Lock()
	defer p.changing.Unlock()
	fresh, err := p.fresh(touched)
	if err != nil {
		return err
	}
	if len(fresh) > 0 {
		if err := p.update(fresh, func(b *bolt.Bucket, key []byte) error { return b.Put(key, nil) }); err != nil {
			return err
		}
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	for place := range touched {
		w, ok := p.spans[place]
		if !ok {
			w = &waiting{}
			p.spans[place] = w
		}
		w.appends++
		w.changes++
	}
	return nil
}

// fresh are the spans that are not on the list yet.
func (p *Pending) fresh(touched map[Place]bool) (fresh []Place, err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for place := range touched {
		if _, ok := p.spans[place]; !ok {
			fresh = append(fresh, place)
		}
	}
	if len(p.spans)+len(fresh) > maxPending {
		return nil, ErrTooManyPending
	}
	return fresh, nil
}

// update changes the list on disk.
func (p *Pending) update(places []Place, change func(b *bolt.Bucket, key []byte) error) error {
	slices.SortFunc(places, comparePlaces)
	err := Soundly(func() error {
		return p.db.Update(func(tx *bolt.Tx) error {
			for _, place := range places {
				if err := change(tx.Bucket(pendingBucket), place.key()); err != nil {
					return err
				}
			}
			return nil
		})
	})
	if err != nil {
		return fmt.Errorf("list of spans to be rolled up: %w", err)
	}
	return nil
}

// End says that what Begin was called for is stored, or is not.
func (p *Pending) End(touched map[Place]bool, now time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for place := range touched {
		w := p.spans[place]
		w.appends--
		w.touched = now
	}
}

// Ranges are the stretches of a berth's spans on the list that meet [from, to), in
// order, neighbours joined: start and end of each, Unix ns.
func (p *Pending) Ranges(berth string, from, to int64) [][2]int64 {
	p.mu.Lock()
	var starts []int64
	for place := range p.spans {
		if place.Berth == berth && place.End() > from && place.Start < to {
			starts = append(starts, place.Start)
		}
	}
	p.mu.Unlock()
	slices.Sort(starts)
	var out [][2]int64
	for _, s := range starts {
		if n := len(out); n > 0 && out[n-1][1] == s {
			out[n-1][1] += int64(Span)
			continue
		}
		out = append(out, [2]int64{s, s + int64(Span)})
	}
	return out
}

// Len is the number of spans on the list.
func (p *Pending) Len() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return len(p.spans)
}

// settled are at most limit spans into which nothing has come since a time, by
// berth and time, with the changes that they have seen.
func (p *Pending) settled(before time.Time, limit int) map[Place]int {
	p.mu.Lock()
	defer p.mu.Unlock()
	ripe := make(map[Place]int)
	for place, w := range p.spans {
		if w.appends == 0 && !w.touched.After(before) {
			ripe[place] = w.changes
		}
	}
	if len(ripe) <= limit {
		return ripe
	}
	out := make(map[Place]int, limit)
	for _, place := range slices.SortedFunc(maps.Keys(ripe), comparePlaces)[:limit] {
		out[place] = ripe[place]
	}
	return out
}

func comparePlaces(a, b Place) int {
	return cmp.Or(cmp.Compare(a.Berth, b.Berth), cmp.Compare(a.Start, b.Start))
}

// done takes those spans off the list, once their rolls are on disk, that have seen
// no change since they were settled, and tells how many.
func (p *Pending) done(seen map[Place]int) (int, error) {
	p.changing.Lock()
	defer p.changing.Unlock()
	p.mu.Lock()
	var still []Place
	for place, changes := range seen {
		if w, ok := p.spans[place]; ok && w.changes == changes {
			still = append(still, place)
		}
	}
	p.mu.Unlock()
	if len(still) == 0 {
		return 0, nil
	}
	if err := p.update(still, (*bolt.Bucket).Delete); err != nil {
		return 0, err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, place := range still {
		delete(p.spans, place)
	}
	return len(still), nil
}
