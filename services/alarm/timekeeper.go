package alarm

import (
	"cmp"
	"context"
	"slices"
	"time"

	"hawser/detect"
)

// defaultEscalation is how long after it was raised an alarm that nobody has
// acknowledged is escalated, again and again. Common practice, no source.
func defaultEscalation() map[detect.Priority][]time.Duration {
	return map[detect.Priority][]time.Duration{
		detect.Emergency: {time.Minute, 5 * time.Minute},
		detect.Alarm:     {5 * time.Minute, 15 * time.Minute},
	}
}

// mostOfCause is how many records suppression by design may make in a second; what
// is over that waits for the next, so that people are not kept waiting.
const mostOfCause = 500

// KeepTime ends shelves whose time is over, sees to what is suppressed by design and
// escalates what nobody has acknowledged, every second until ctx ends.
func (l *Log) KeepTime(ctx context.Context) error {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
			if err := l.tick(ctx); err != nil && ctx.Err() == nil {
				l.o.Logger.Error("shelves, suppression and escalation not seen to", "err", err)
			}
		}
	}
}

func (l *Log) tick(ctx context.Context) error {
	if !l.due(l.o.Now()) {
		return nil
	}
	return l.write(ctx, func() error {
		now := l.o.Now()
		for _, h := range l.fold.held("") {
			if h.Shelf() && !now.Before(h.Until) {
				if err := l.append(ctx, l.ending(h.Subject, Person{}, "The time on the shelf is over.")); err != nil {
					return err
				}
			}
		}
		for range mostOfCause {
			r := l.nextOfCause(now)
			if r == nil {
				break
			}
			if err := l.append(ctx, r); err != nil {
				return err
			}
		}
		for _, s := range l.unheeded(now) {
			r := &Record{ID: s.ID, Transition: Escalated, Time: now.UTC(), Subject: s.Subject, Priority: s.Priority, Level: s.Level + 1,
				Detail: "Nobody has taken this on in " + now.Sub(s.Called).Round(time.Second).String() + ": " + s.Detail}
			if err := l.append(ctx, r); err != nil {
				return err
			}
		}
		return nil
	})
}

// due reports whether there is anything to do, so that a quiet second costs no
// more than a look.
func (l *Log) due(now time.Time) bool {
	l.mu.RLock()
	defer l.mu.RUnlock()
	for _, h := range l.fold.holds {
		if h.Shelf() && !now.Before(h.Until) {
			return true
		}
	}
	return len(l.unheeded(now)) > 0 || l.nextOfCause(now) != nil
}

// unheeded are the alarms to escalate now, in the order of their ids.
func (l *Log) unheeded(now time.Time) []*State {
	var out []*State
	for _, s := range l.fold.active {
		steps := l.o.Escalate[s.Priority]
		if s.Level < len(steps) && s.Acknowledged() == nil && s.Suppressed == nil && l.fold.holdOn(s.Subject) == nil && now.Sub(s.Called) >= steps[s.Level] {
			out = append(out, s)
		}
	}
	slices.SortFunc(out, func(a, b *State) int { return cmp.Compare(a.ID, b.ID) })
	return out
}
