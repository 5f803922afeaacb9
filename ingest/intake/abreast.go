package intake

import (
	"context"
	"slices"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/batch"
)

// Sources of a berth that have much to send after an outage go on abreast. Else the one
// that is back first would bring the watch past all that another has yet to send, which
// would then be too late to be watched. So for a time no batch of the past is handed on
// while another source is further behind: one that has a stream, or is yet to come back.
// A source that was never there before waits for none. A gateway that will not come back
// costs the berth that time without a watch, so it ends before the berth is silent by it.
const (
	past     = 3 * time.Second             // batches older than this are of the past
	lead     = int64(reading.Lateness) / 2 // how far one source may be before another
	patience = 5 * time.Second             // how long for one that sends nothing: over the longest wait of a gateway to connect again
	catchUp  = 15 * time.Second            // how long in all, for those that do send
	recently = time.Minute                 // a source without a stream that was heard later is to come back
)

// waitsUntil is up to when a stream that opens now waits for others to send. Where it was
// this server that they were without, all come back at once, from when the first is back:
// it may be busy for a while until it can be reached.
func (b *berth) waitsUntil(now time.Time) time.Time {
	b.mu.Lock()
	defer b.mu.Unlock()
	if !now.Before(b.without.Add(patience)) {
		return now.Add(patience)
	}
	if b.back.Before(b.without) {
		b.back = now
	}
	return b.back.Add(patience)
}

// abreast waits until no other source of the berth is far behind a time of the past.
func (d *delivery) abreast(ctx context.Context, newest int64, arrived time.Time) error {
	if !d.again || newest == 0 || arrived.UnixNano()-newest < int64(past) || arrived.Sub(d.opened) > catchUp {
		return nil
	}
	d.berth.comesTo(d.src, newest) // so that of two that wait the one behind goes on
	defer d.berth.goesOn(d.src, d.s.o.Now)
	for {
		left, moved := d.behind(newest-lead, d.s.o.Now())
		if left <= 0 {
			return nil
		}
		wait := time.NewTimer(left)
		select {
		case <-moved:
		case <-wait.C:
		case <-ctx.Done():
			wait.Stop()
			return context.Cause(ctx)
		}
		wait.Stop()
	}
}

// behind is how long another source that has yet to send what is of before a time is
// awaited, 0 where there is none; one that came and went again since the stream opened is
// awaited no more. moved is closed when one has sent, or will not.
func (d *delivery) behind(t int64, now time.Time) (left time.Duration, moved <-chan struct{}) {
	b := d.berth
	b.mu.Lock()
	defer b.mu.Unlock()
	for name, other := range b.sources {
		h := &other.heard
		away := other.claims == 0
		if away && h.last.After(d.opened) {
			if d.went == nil {
				d.went = map[string]bool{}
			}
			d.went[name] = true
		}
		awaited := !away || h.before || d.opened.Sub(h.last) < recently
		if other != d.src && awaited && !d.went[name] && !h.done && h.reached > 0 && h.reached < t {
			until := d.until
			if going := h.sends(now).Add(patience); !away && going.After(until) {
				until = going
			}
			left = max(left, min(until.Sub(now), d.opened.Add(catchUp).Sub(now)))
		}
	}
	if left > 0 && b.moved == nil {
		b.moved = make(chan struct{})
	}
	return left, b.moved
}

// sends is when a source last had something to hand on, which is now if it waits to, or
// opened its stream: it needs a moment until it sends.
func (h *heard) sends(now time.Time) time.Time {
	if h.waits {
		return now
	}
	return slices.MaxFunc([]time.Time{h.last, h.waited, h.opened}, time.Time.Compare)
}

// opens notes that a source has a stream again.
func (b *berth) opens(src *source, at time.Time) {
	b.mu.Lock()
	defer b.mu.Unlock()
	src.heard.opened = at
}

// comesTo notes that a source has a batch of a time to hand on, and may have to wait.
func (b *berth) comesTo(src *source, t int64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	src.heard.waits = true
	if t > src.heard.reached {
		src.heard.reached = t
		b.news()
	}
}

// goesOn notes that a source waits no more.
func (b *berth) goesOn(src *source, now func() time.Time) {
	b.mu.Lock()
	defer b.mu.Unlock()
	src.heard.waits, src.heard.waited = false, now()
}

// comeAgain has all sources that were heard lately send from further back again; mu is
// not held.
func (b *berth) comeAgain(now time.Time) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.without = now
	for _, src := range b.sources {
		if h := &src.heard; h.reached > 0 && !h.done && now.Sub(h.last) < recently {
			h.reached, h.before = 1, true // how far back is not known
		}
	}
}

// news wakes those who wait for other sources; mu is held.
func (b *berth) news() {
	if b.moved != nil {
		close(b.moved)
		b.moved = nil
	}
}

// recall makes known, once, the sources that sent together with the newest before the
// server started: they are to come back.
func (s *Server) recall(ctx context.Context, b *berth) {
	b.mu.Lock()
	recalled := b.recalled
	b.mu.Unlock()
	if recalled {
		return
	}
	newest, err := s.o.Journal.Newest(ctx, b.name)
	if err != nil {
		s.o.Log.Warn("which gateways are to come back is not known", "berth", b.name, "err", err)
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.recalled {
		return
	}
	b.recalled = true
	var last time.Time
	for i := range newest {
		if newest[i].Stored.After(last) {
			last = newest[i].Stored
		}
	}
	var decoder batch.Decoder
	for i := range newest {
		e := &newest[i]
		block, _, err := decoder.Decode(e.Data)
		if err != nil || last.Sub(e.Stored) > recently || b.sources[e.Source] != nil {
			continue
		}
		if src, err := b.source(e.Source, s.o.limits.Sources); err == nil {
			to := reached(block)
			src.heard = heard{reached: to, before: true, clock: clockOf(block, to, e.Stored)}
		}
	}
}

// reached is up to where a batch brings its source, Unix nanoseconds.
func reached(b *reading.Block) int64 {
	t := b.CompleteUntil
	for i := range b.Series {
		if n := b.Series[i].Len(); n > 0 {
			t = max(t, b.Series[i].Time[n-1])
		}
	}
	return t
}
