// Package live shows the newest readings of every berth: the last good value of
// each channel, what its sensor is worth, and the last ten minutes of each load.
// It never stores, never judges a load and never holds up who feeds it. Its
// invariant: memory is bounded by the plans, and what has stopped coming in is
// never shown as live.
//
//	blocks ─► Update ─► last values, course ─┬─► picture ─► subscribers, one slot each
//	                                         └─► metrics
//
// Age is by the server's clock from when readings came in, not from when they
// were measured: a recording of last month is live while it is being sent.
package live

import (
	"cmp"
	"errors"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/detect/reading"
	hawserv1 "hawser/proto/hawser/v1"
)

// Options are what a Board needs. Registerer is required.
type Options struct {
	Registerer prometheus.Registerer
	// Stale is the age from which values are no longer live; 0 means 30 s.
	Stale time.Duration
	// Now is the clock ages are told by; nil means the system's.
	Now func() time.Time
}

// silent is the age from which a load pin counts as silent: the gap at which the
// detectors call it a fault.
const silent = 10 * time.Second

// Board is the latest picture of every berth. Safe for concurrent use.
type Board struct {
	stale time.Duration
	now   func() time.Time

	mu     sync.RWMutex
	berths map[string]*berth
	news   map[chan struct{}]struct{} // subscribers' slots

	done  chan struct{} // closed by Close
	close func()
}

// ErrClosed says that the board is closed.
var ErrClosed = errors.New("live picture is closed")

// New makes an empty board.
func New(o Options) (*Board, error) {
	if o.Registerer == nil {
		return nil, errors.New("live: Registerer is required")
	}
	b := &Board{stale: o.Stale, now: o.Now, berths: map[string]*berth{}, news: map[chan struct{}]struct{}{}, done: make(chan struct{})}
	b.close = sync.OnceFunc(func() { close(b.done) })
	b.stale = cmp.Or(b.stale, 30*time.Second)
	if b.now == nil {
		b.now = time.Now
	}
	if err := o.Registerer.Register(collector{b}); err != nil {
		return nil, err
	}
	return b, nil
}

// Close ends every watch. Safe to call twice.
func (b *Board) Close() error {
	b.close()
	return nil
}

// SetPlan shows a berth by a plan, from nothing. The plan is not to be changed
// afterwards.
func (b *Board) SetPlan(berth string, plan *mooring.Plan) {
	b.mu.Lock()
	b.berths[berth] = newBerth(berth, plan)
	b.mu.Unlock()
	b.tell()
}

// Update takes a block of a berth that came in at a time of the server's clock.
// It allocates nothing and keeps nothing of the block. Blocks of a berth without
// a plan, and series of lines the plan does not have, have no place on the board.
func (b *Board) Update(berth string, received time.Time, block *reading.Block) {
	if shown := b.shown(berth); shown != nil {
		shown.update(received, block)
		b.tell()
	}
}

// Lies takes how the detectors take a berth's ship to lie.
func (b *Board) Lies(berth string, how detect.Operating) {
	if shown := b.shown(berth); shown != nil && shown.lies(how) {
		b.tell()
	}
}

// Shows takes from which load the parting of a line is told that no load pin shows, by
// line in the plan's order, kN; NaN for none. It keeps nothing of least.
func (b *Board) Shows(berth string, least []float64) {
	if shown := b.shown(berth); shown != nil && shown.shows(least) {
		b.tell()
	}
}

// shown is a berth on the board, nil where it has no plan.
func (b *Board) shown(name string) *berth {
	b.mu.RLock()
	defer b.mu.RUnlock()
	return b.berths[name]
}

// tell puts news into every subscriber's slot that has none.
func (b *Board) tell() {
	b.mu.RLock()
	defer b.mu.RUnlock()
	for slot := range b.news {
		select {
		case slot <- struct{}{}:
		default:
		}
	}
}

func (b *Board) subscribe() chan struct{} {
	slot := make(chan struct{}, 1)
	b.mu.Lock()
	defer b.mu.Unlock()
	b.news[slot] = struct{}{}
	return slot
}

func (b *Board) unsubscribe(slot chan struct{}) {
	b.mu.Lock()
	defer b.mu.Unlock()
	delete(b.news, slot)
}

// pick gives the berth of this name, or all for "", sorted.
func (b *Board) pick(name string) []*berth {
	b.mu.RLock()
	defer b.mu.RUnlock()
	var out []*berth
	for _, shown := range b.berths {
		if name == "" || shown.name == name {
			out = append(out, shown)
		}
	}
	slices.SortFunc(out, func(x, y *berth) int { return strings.Compare(x.name, y.name) })
	return out
}

// Pictures gives the present picture of a berth, or of all for "", sorted by
// berth. They are shared and not to be changed.
func (b *Board) Pictures(berth string) []*hawserv1.BerthPicture {
	now := b.now()
	var out []*hawserv1.BerthPicture
	for _, shown := range b.pick(berth) {
		out = append(out, shown.picture(now, b.stale))
	}
	return out
}
