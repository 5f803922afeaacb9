package alarm

import (
	"context"
	"fmt"
	"slices"
	"time"

	"hawser/detect"
)

// write runs one call that may append, alone, on a state that has the whole log.
func (l *Log) write(ctx context.Context, call func() error) error {
	select {
	case l.writer <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	case <-l.done:
		return ErrClosed
	}
	defer func() { <-l.writer }()
	select {
	case <-l.done:
		return ErrClosed
	default:
	}
	if l.behind {
		if err := l.catchUp(ctx); err != nil {
			return err
		}
	}
	return call()
}

// append puts a record into the log, then into the state. The order is the
// promise: nothing is shown that a restart would not find. After an error the
// log may have the record all the same, so the next call reads it again first.
func (l *Log) append(ctx context.Context, r *Record) error {
	r.Recorded = l.o.Now().UTC()
	if r.ID != "" {
		after := l.fold.after(r)
		r.Level, r.Lifecycle, r.Quiet = after.Level, after.Lifecycle(), after.Suppressed != nil
	}
	data, err := r.encode()
	if err != nil {
		return fmt.Errorf("alarm %q: %w", r.ID, err)
	}
	began := time.Now()
	position, err := l.o.Records.AppendRecord(ctx, l.o.Name, data)
	if err != nil {
		l.behind = true
		l.m.appendErrors.Inc()
		return fmt.Errorf("alarm %q: %w", r.ID, err)
	}
	l.m.append.Observe(time.Since(began).Seconds())
	l.m.count(r)
	if position != l.fold.position+1 {
		// An earlier append that had been given up came through after all, or the
		// log's positions have gaps. The log knows.
		l.behind = true
		if position <= l.fold.position {
			return fmt.Errorf("alarm %q: log gave it position %d, at or before %d that it had already", r.ID, position, l.fold.position)
		}
		return l.catchUp(ctx)
	}
	r.Position = position
	l.take(r)
	return nil
}

// catchUp folds what the log holds after the state.
func (l *Log) catchUp(ctx context.Context) error {
	err := l.o.Records.ReadRecords(ctx, l.o.Name, l.fold.position, func(position uint64, data []byte) error {
		r, err := decode(position, data)
		if err != nil {
			// Not to be mended by stopping: the rest of the alarms are still good.
			l.o.Logger.Error("unreadable alarm record passed over", "position", position, "err", err)
			l.m.unreadable.Inc()
			r = &Record{Position: position}
		}
		l.take(r)
		return nil
	})
	if err != nil {
		return fmt.Errorf("read alarm log after position %d: %w", l.fold.position, err)
	}
	l.behind = false
	return nil
}

// take folds a record that is in the log and wakes the watchers.
func (l *Log) take(r *Record) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.fold.add(r)
	l.tail.add(r)
	close(l.changed)
	l.changed = make(chan struct{})
}

// subject of a change.
func subject(berth string, c *detect.Change) Subject {
	s := Subject{Berth: berth, Condition: c.Condition.String(), Line: c.Line}
	if c.Group != 0 {
		s.Group = c.Group.String()
	}
	return s
}

func measured(c *detect.Change) Measure {
	return Measure{Value: c.Value, HasValue: true, Limit: c.Limit, HasLimit: c.HasLimit, Unit: c.Unit}
}

// onset of what a change raises, zero where not known.
func onset(c *detect.Change) time.Time {
	if c.Onset == 0 {
		return time.Time{}
	}
	return time.Unix(0, c.Onset).UTC()
}

// raise makes the record of a change that raises.
func (l *Log) raise(berth string, c *detect.Change) *Record {
	r := &Record{Transition: Raised, Time: c.When(), Subject: subject(berth, c), Priority: c.Condition.Priority(),
		Onset: onset(c), Measure: measured(c), Detail: c.Detail}
	if joint := joints[c.By]; joint != "" && l.o.Pins != nil {
		if pins := l.o.Pins(berth); len(pins) > 1 {
			r.Joint = joint
			r.Source, r.Until = pins[c.Line], l.o.Now().UTC().Add(gather)
		}
	}
	r.ID = l.fold.name(r.Subject, r.Time)
	return r
}

// clearing makes the record that clears an active alarm.
func clearing(s *State, at time.Time, detail string) *Record {
	return &Record{ID: s.ID, Transition: Cleared, Time: at, Subject: s.Subject, Priority: s.Priority, Detail: detail}
}

// Apply records the changes that the readings at a journal position made to a
// berth. What was applied before is ignored, so it can be called again after an
// error or a restart; so is a raise of what is active and a clear of what is not.
func (l *Log) Apply(ctx context.Context, berth string, position uint64, changes []detect.Change) error {
	return l.write(ctx, func() error {
		for i := range changes {
			if err := l.applyOne(ctx, berth, position, uint32(i), &changes[i]); err != nil {
				return fmt.Errorf("berth %s: journal position %d: %w", berth, position, err)
			}
		}
		return nil
	})
}

func (l *Log) applyOne(ctx context.Context, berth string, position uint64, index uint32, c *detect.Change) error {
	if l.fold.marks[berth].covers(position, index) {
		l.m.ignore(repeated)
		return nil
	}
	active := l.fold.active[subject(berth, c).key()]
	var r *Record
	switch {
	case c.Raised && active != nil:
		l.m.ignore(alreadyActive)
		return nil
	case c.Raised && l.fold.told(subject(berth, c), c.When()):
		l.m.ignore(repeated)
		return nil
	case !c.Raised && active == nil:
		l.m.ignore(notActive)
		return nil
	case c.Raised:
		r = l.raise(berth, c)
	default:
		r = clearing(active, c.When(), c.Detail)
		r.Measure = measured(c)
	}
	r.Journal, r.Change = position, index
	return l.append(ctx, r)
}

// Reconcile makes a berth's active conditions those that hold after the entry at
// a journal position: others are cleared for the reason, a sentence, but those that
// keep tells to (nil for none), missing ones raised, but those that a person has reset.
// It is for a watch that starts afresh and, with none active, for a plan replaced after
// that position. Where anything later has been applied it does nothing.
func (l *Log) Reconcile(ctx context.Context, berth string, position uint64, active []detect.Change, keep func(raised detect.Change) bool, reason string) error {
	return l.write(ctx, func() error {
		if l.fold.marks[berth].position > position {
			l.m.ignore(repeated)
			return nil
		}
		for _, r := range l.differences(berth, active, keep, reason) {
			r.Journal, r.Change = position, endOfEntry
			if err := l.append(ctx, r); err != nil {
				return fmt.Errorf("berth %s: reconcile at journal position %d: %w", berth, position, err)
			}
		}
		return nil
	})
}

// differences are the records that lead from the berth's alarms to the wanted.
func (l *Log) differences(berth string, active []detect.Change, keep func(raised detect.Change) bool, reason string) []*Record {
	wanted := make(map[Subject]bool, len(active))
	var out []*Record
	for i := range active {
		key := subject(berth, &active[i]).key()
		if !wanted[key] && !l.fold.wasReset(berth, &active[i]) && l.fold.active[key] == nil {
			out = append(out, l.raise(berth, &active[i]))
		}
		wanted[key] = true
	}
	for _, s := range l.fold.list(berth, false) {
		// The server's own conditions of a berth are not the detectors' to clear.
		if !wanted[s.key()] && isDetected(s.Condition) && (keep == nil || !keep(s.change())) {
			out = append(out, clearing(&s, l.o.Now().UTC(), reason))
		}
	}
	return out
}

func isDetected(condition string) bool {
	return slices.ContainsFunc(detect.Conditions(), func(c detect.Condition) bool { return c.String() == condition })
}

// Rewind is told where the journal ends before a berth's readings are taken up
// again. Where more than that has been applied, the journal has lost its end and
// positions after it come again with other readings: the guard goes back there,
// for good, by a record of its own. Else it does nothing.
func (l *Log) Rewind(ctx context.Context, berth string, last uint64) error {
	return l.write(ctx, func() error {
		m := l.fold.marks[berth]
		if m.position <= last {
			return nil
		}
		r := &Record{Transition: Rewound, Time: l.o.Now().UTC(),
			Subject: Subject{Berth: berth}, Journal: last, Change: endOfEntry,
			Detail: fmt.Sprintf("The journal ends at position %d, before %d that was applied: its end is lost.", last, m.position)}
		l.o.Logger.Warn("journal went back, changes after its end are taken again", "berth", berth, "last", last, "applied", m.position)
		return l.append(ctx, r)
	})
}

// Own is a condition of the server itself or of its link with a berth.
type Own struct {
	Berth     string // empty for the server
	Source    string // of the berth, where it is of one
	Condition string // not one of the detectors': "journal-pressure"
	Priority  detect.Priority
	Measure
	Detail string // one sentence: what is wrong and what to do
}

func (o *Own) subject() Subject {
	return Subject{Berth: o.Berth, Condition: o.Condition, Source: o.Source}
}

// RaiseOwn raises a condition of the server's own; while it is active, again does
// nothing.
func (l *Log) RaiseOwn(ctx context.Context, o Own) error {
	if o.Condition == "" || isDetected(o.Condition) || o.Priority < detect.Emergency || o.Priority > detect.Caution {
		return fmt.Errorf("own condition %q with priority %d: want a name that is not a detector's and a priority", o.Condition, o.Priority)
	}
	return l.write(ctx, func() error {
		s := o.subject()
		if l.fold.active[s.key()] != nil {
			return nil
		}
		now := l.o.Now().UTC()
		return l.append(ctx, &Record{ID: l.fold.name(s, now), Transition: Raised, Time: now, Subject: s,
			Priority: o.Priority, Measure: o.Measure, Detail: o.Detail})
	})
}

// ClearOwn clears a condition of the server's own; when it is not active it does
// nothing.
func (l *Log) ClearOwn(ctx context.Context, berth, condition string) error {
	return l.ClearOwnOf(ctx, Own{Berth: berth, Condition: condition})
}

// ClearOwnOf is ClearOwn by berth, condition and source.
func (l *Log) ClearOwnOf(ctx context.Context, o Own) error {
	return l.write(ctx, func() error {
		s := l.fold.active[o.subject()]
		if s == nil || isDetected(o.Condition) {
			return nil
		}
		return l.append(ctx, clearing(s, l.o.Now().UTC(), ""))
	})
}
