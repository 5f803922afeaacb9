package alarm

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"hawser/detect"
)

// ShelfMost is the longest time on a shelf: a watch and its handover. Common
// practice, no source.
const ShelfMost = 8 * time.Hour

// What people may be told.
var (
	ErrUnknown   = errors.New("no such alarm, or cleared long ago")
	ErrNoName    = errors.New("the name of who does it is needed")
	ErrNoReason  = errors.New("a reason is needed")
	ErrNoText    = errors.New("a note says something")
	ErrEmergency = errors.New("an emergency cannot be shelved")
	ErrPeriod    = fmt.Errorf("a shelf is for more than nothing and at most %s", ShelfMost)
	ErrNotHeld   = errors.New("nothing is held there")
)

// TakenError says that somebody of the same side has acknowledged the alarm
// already.
type TakenError struct {
	ID string
	Acknowledgement
}

func (e *TakenError) Error() string {
	return fmt.Sprintf("alarm %s: already acknowledged by %s at %s", e.ID, e.By, e.At.UTC().Format("15:04:05 UTC on 2 January 2006"))
}

// clean checks a person and puts the default side in.
func (p Person) clean() (Person, error) {
	p.By, p.Role = strings.TrimSpace(p.By), strings.TrimSpace(p.Role)
	if p.By == "" {
		return p, ErrNoName
	}
	if p.Side == 0 {
		p.Side = Terminal
	}
	return p, nil
}

// Acknowledge records that a person has taken an alarm on, active or cleared. It
// can be done once a side: the error of the second is a TakenError. Others are
// ErrUnknown and ErrNoName.
func (l *Log) Acknowledge(ctx context.Context, id string, p Person, note string) (State, error) {
	return l.onAlarm(ctx, id, p, func(s *State, r *Record) error {
		if taken := s.acknowledgedBy(r.Side); taken != nil {
			return &TakenError{ID: id, Acknowledgement: *taken}
		}
		r.Transition, r.Note = Acknowledged, strings.TrimSpace(note)
		return nil
	})
}

// WriteNote puts on record what a person has to say about an alarm, active or
// cleared. Errors are ErrUnknown, ErrNoName and ErrNoText.
func (l *Log) WriteNote(ctx context.Context, id string, p Person, text string) (State, error) {
	return l.onAlarm(ctx, id, p, func(_ *State, r *Record) error {
		if r.Transition, r.Note = Noted, strings.TrimSpace(text); r.Note == "" {
			return ErrNoText
		}
		return nil
	})
}

// Shelve keeps an alarm quiet for a time, now and if it comes again. Errors are
// ErrUnknown, ErrNoName, ErrNoReason, ErrEmergency and ErrPeriod.
func (l *Log) Shelve(ctx context.Context, id string, p Person, reason string, period time.Duration) (State, error) {
	return l.onAlarm(ctx, id, p, func(s *State, r *Record) error {
		r.Transition, r.Note, r.Until = PutOnShelf, strings.TrimSpace(reason), r.Time.Add(period)
		switch {
		case s.Priority == detect.Emergency:
			return ErrEmergency
		case r.Note == "":
			return ErrNoReason
		case period <= 0 || period > ShelfMost:
			return ErrPeriod
		}
		return nil
	})
}

// onAlarm records what a person does to one alarm.
func (l *Log) onAlarm(ctx context.Context, id string, p Person, fill func(*State, *Record) error) (State, error) {
	p, err := p.clean()
	if err != nil {
		return State{}, err
	}
	var after State
	err = l.write(ctx, func() error {
		s := l.fold.byID[id]
		if s == nil {
			return fmt.Errorf("alarm %s: %w", id, ErrUnknown)
		}
		r := &Record{ID: id, Time: l.o.Now().UTC(), Subject: s.Subject, Priority: s.Priority, Person: p}
		if err := fill(s, r); err != nil {
			return err
		}
		if err := l.append(ctx, r); err != nil {
			return err
		}
		after = *l.fold.byID[id]
		after.Hold = l.fold.holdOn(after.Subject)
		return nil
	})
	return after, err
}

// TakeOutOfService keeps all alarms of a line quiet, or those of one condition,
// until EndHold. Emergencies too: it is for a line whose load pin is not to be
// believed, and who does it answers for another watch on that line.
func (l *Log) TakeOutOfService(ctx context.Context, s Subject, p Person, reason string) (Hold, error) {
	p, err := p.clean()
	reason = strings.TrimSpace(reason)
	switch {
	case err != nil:
		return Hold{}, err
	case reason == "":
		return Hold{}, ErrNoReason
	}
	r := &Record{Transition: TakenOutOfService, Time: l.o.Now().UTC(), Subject: s, Person: p, Note: reason}
	err = l.write(ctx, func() error { return l.append(ctx, r) })
	return *r.hold(), err
}

// EndHold ends a shelf before its time or puts back what was out of service.
// Errors are ErrNotHeld and ErrNoName.
func (l *Log) EndHold(ctx context.Context, s Subject, p Person, note string) error {
	p, err := p.clean()
	if err != nil {
		return err
	}
	return l.write(ctx, func() error {
		if l.fold.holds[s.key()] == nil {
			return ErrNotHeld
		}
		return l.append(ctx, l.ending(s, p, strings.TrimSpace(note)))
	})
}

// ending makes the record that ends a hold. It names the worst alarm that nothing
// keeps quiet any more, if one is active: whoever hears of the end knows what calls.
func (l *Log) ending(s Subject, p Person, note string) *Record {
	r := &Record{Transition: HoldEnded, Time: l.o.Now().UTC(), Subject: s, Person: p, Note: note}
	hold := l.fold.holds[s.key()]
	for _, a := range l.fold.list(s.Berth, false) {
		if hold.covers(a.Subject) && a.Suppressed == nil && l.fold.holdBut(a.Subject, hold) == nil {
			r.ID, r.Priority = a.ID, a.Priority
			break
		}
	}
	return r
}
