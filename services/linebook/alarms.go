package linebook

import (
	"context"
	"time"
)

// takeAlarm counts an alarm in the record of its line, once the fold has come to the
// readings behind it: only then is it known whose line that was.
func (b *Book) takeAlarm(ctx context.Context, e *Event) error {
	ofLine := e.Line != "" && e.Berth != ""
	if ofLine {
		if err := b.reach(ctx, e.Journal); err != nil {
			return err
		}
		if err := b.bring(ctx, e); err != nil {
			return err
		}
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if e.Position <= b.alarms {
		return nil
	}
	b.alarms = e.Position
	b.wake()
	if !ofLine {
		return nil
	}
	s := b.ships[b.shipAt(e.Berth, e.Journal)]
	var r *Record
	if s != nil {
		r = s.usedAt(e.Berth, e.Line, e.Journal)
	}
	switch {
	case r == nil:
		b.m.unplaced.Inc()
	case e.Position > s.Alarms:
		r.alarm(e)
		s.changed = true
	}
	return nil
}

// wake has those look again who wait for the fold to go on.
func (b *Book) wake() {
	if b.grew != nil {
		close(b.grew)
		b.grew = nil
	}
}

// wait waits until done holds, which is asked under the lock, at most for a time
// unless that is 0.
func (b *Book) wait(ctx context.Context, most time.Duration, done func() bool) error {
	var over <-chan time.Time
	if most > 0 {
		t := time.NewTimer(most)
		defer t.Stop()
		over = t.C
	}
	for {
		b.mu.Lock()
		if done() {
			b.mu.Unlock()
			return nil
		}
		if b.grew == nil {
			b.grew = make(chan struct{})
		}
		grew := b.grew
		b.mu.Unlock()
		select {
		case <-grew:
		case <-over:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// reach waits until the fold has come to a journal position, or to the end of a
// journal that has lost it.
func (b *Book) reach(ctx context.Context, position uint64) error {
	b.mu.Lock()
	there := b.position >= position
	b.mu.Unlock()
	if there {
		return nil
	}
	last, err := b.o.Journal.Last(ctx)
	if err != nil {
		return err
	}
	position = min(position, last)
	b.mu.Lock()
	b.awaits = position
	b.wake()
	b.mu.Unlock()
	return b.wait(ctx, 0, func() bool { return b.position >= position })
}

// letAlarms holds the fold back before an entry while alarms that were on record at
// the start belong before it: read again from far back, they find the ropes as they
// were. An alarm log that gives nothing does not hold it up for long.
func (b *Book) letAlarms(ctx context.Context, position uint64) error {
	const most = 5 * time.Second
	if b.caughtUp {
		return nil
	}
	done := func() bool { return b.alarms >= b.alarmEnd || b.awaits >= position }
	if err := b.wait(ctx, most, done); err != nil {
		return err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.caughtUp = b.alarms >= b.alarmEnd
	if !done() {
		b.o.Log.Warn("the alarm log does not give all it has; line records go on", "at", b.alarms, "end", b.alarmEnd)
		b.caughtUp = true
	}
	return nil
}

// bring has the ship of an alarm in memory: she may have left.
func (b *Book) bring(ctx context.Context, e *Event) error {
	b.mu.Lock()
	name := b.shipAt(e.Berth, e.Journal)
	held := name == "" || b.ships[name] != nil
	b.mu.Unlock()
	if held {
		return nil
	}
	s, err := b.ship(ctx, name)
	if err != nil {
		return err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.hold(s)
	return nil
}
