package store

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"time"
)

// storeGroup appends until it is done or ctx has ended.
func (p *Pump) storeGroup(ctx context.Context, g *group) error {
	start, wait := time.Now(), p.opts.retryMin
	for tries := 1; ; tries++ {
		durable, err := p.try(ctx, g)
		if err == nil {
			p.finish(g, durable, start, tries)
			return nil
		}
		if ctx.Err() != nil {
			return err
		}
		if tries == 1 {
			p.opts.Log.Warn("store does not take readings, trying on", "err", err)
		}
		p.metrics.down.Set(1)
		p.metrics.retries.Inc()
		if err := pause(ctx, err, wait); err != nil {
			return err
		}
		wait = min(2*wait, p.opts.retryMax)
	}
}

// try appends the group once and, when due, makes it durable. Readings refused
// for good are counted here and are no error.
func (p *Pump) try(ctx context.Context, g *group) (durable bool, err error) {
	var refused *Refused
	if len(g.entries) > 0 {
		err := p.store.AppendMany(ctx, g.entries)
		if err != nil && !errors.As(err, &refused) {
			return false, err
		}
	}
	s, volatile := p.store.(syncer)
	durable = !volatile
	if volatile && p.syncDue() {
		if err := s.Sync(); err != nil {
			return false, err
		}
		p.synced, durable = time.Now(), true
	}
	taken := g.readings()
	if refused != nil {
		for reason, n := range refused.Count {
			p.metrics.refused[reason].Add(float64(n))
		}
		p.opts.Log.Warn("store refused readings for good", "count", refused.Total(), "err", refused)
		taken -= refused.Total()
	}
	p.metrics.stored.Add(float64(max(taken, 0)))
	return durable, nil
}

func (p *Pump) syncDue() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.filling.empty() || time.Since(p.synced) >= syncEvery
}

// finish notes a stored group. Its position counts once the store is durable up
// to it; if that was not due yet, the next group's does, which is never far.
func (p *Pump) finish(g *group, durable bool, start time.Time, tries int) {
	p.metrics.groups.Inc()
	p.metrics.seconds.Observe(time.Since(start).Seconds())
	if tries > 1 {
		p.metrics.down.Set(0)
		p.opts.Log.Info("store takes readings again", "tries", tries, "took", time.Since(start))
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if durable {
		p.position = g.last
	}
	g.reset()
	p.oldest[1] = time.Time{}
}

// lastFlush tries once more with what Run could not store before it was stopped.
func (p *Pump) lastFlush(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), lastFlush)
	defer cancel()
	for range 2 { // what was being stored, then what was filled meanwhile
		p.mu.Lock()
		g := p.storing
		p.mu.Unlock()
		if g.empty() {
			g = p.swap()
		}
		if g.empty() {
			return nil
		}
		start := time.Now()
		p.synced = time.Time{} // the end is always durable
		durable, err := p.try(ctx, g)
		if err != nil {
			return fmt.Errorf("store: last flush: %w", err)
		}
		p.finish(g, durable, start, 1)
	}
	return nil
}

// pause waits before the next try: at least as long as the store asked for.
func pause(ctx context.Context, cause error, wait time.Duration) error {
	// Half of it at random, so that several services do not come back as one.
	wait = wait/2 + rand.N(wait/2+1)
	if u, ok := errors.AsType[*Unavailable](cause); ok {
		wait = max(wait, u.After)
	}
	t := time.NewTimer(wait)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
