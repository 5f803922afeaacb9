package intake

import (
	"context"
	"time"

	"golang.org/x/time/rate"
)

// All berths fill one journal, whose oldest goes when it is full. So each source has a
// share of it: what the lines of its plan can need and several times over, for each second
// that passes or by which its readings come on. One that catches up after an outage is
// within it. Of one that sends too much, or the same again and again, no more is read
// until it is within its share: nothing is lost, its own readings come late.
const (
	shareOfLine  = 2 << 10 // bytes a second: 128 readings of 16 bytes; load pins send 2 to 20. common practice, no source
	shareOfBerth = 8 << 10 // wind, water, drafts and watch
	savedUp      = 8 << 20 // bytes that a source may be in arrears with, or send at first
	entryWeight  = 256     // about what an entry takes beside its batch, bytes
)

// share is what a source may send.
type share struct {
	limiter *rate.Limiter
	gained  time.Duration // how far the limiter's time is before the clock: by readings that came on
	reached int64         // up to where they came, Unix nanoseconds
}

// of sets the share by a plan.
func (s *share) of(b *binding) {
	if s.limiter == nil {
		s.limiter = rate.NewLimiter(0, savedUp)
	}
	s.limiter.SetLimit(rate.Limit(shareOfBerth + shareOfLine*len(b.hasPin)))
}

// take takes room for a batch that brings its source up to a time, and says how long it
// is to wait for it. back gives the room back where it is not waited for.
func (s *share) take(size int, reached int64, now time.Time) (wait time.Duration, back func(now time.Time)) {
	if s.reached > 0 && reached > s.reached {
		s.gained += time.Duration(reached - s.reached)
	}
	s.reached = max(s.reached, reached)
	now = now.Add(s.gained)
	room := s.limiter.ReserveN(now, size+entryWeight)
	return room.DelayFrom(now), func(now time.Time) { room.CancelAt(now.Add(s.gained)) }
}

// withinShare waits until a batch is within its source's share.
func (d *delivery) withinShare(ctx context.Context, size int, reached int64, arrived time.Time) error {
	wait, back := d.src.share.take(size, reached, arrived)
	if wait == 0 {
		return nil
	}
	d.berth.holdBack(d.src, arrived, arrived.Add(wait))
	over := time.NewTimer(wait)
	defer over.Stop()
	select {
	case <-over.C:
		return nil
	case <-ctx.Done():
		back(d.s.o.Now())
		return context.Cause(ctx)
	}
}

// Flood is a source that is held back as it sends more than its share.
type Flood struct {
	Berth, Source string
	Since, Until  time.Time // by the server's clock, without a pause of floodsApart
}

const floodsApart = 10 * time.Second

// holdBack notes that a source waits.
func (b *berth) holdBack(src *source, at, until time.Time) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if at.Sub(src.flood.Until) > floodsApart {
		src.flood = Flood{Berth: b.name, Source: src.name, Since: at}
	}
	src.flood.Until = until
	src.heard.last = at
}

// Floods lists the sources that were held back after a time, by berth and source.
func (s *Server) Floods(after time.Time) (out []Flood) {
	s.each(func(b *berth) {
		for _, src := range b.inOrder() {
			if src.flood.Until.After(after) {
				out = append(out, src.flood)
			}
		}
	})
	return out
}
