package alarm

import (
	"context"
	"errors"
	"slices"
	"strings"

	"hawser/detect"
	"hawser/detect/mooring"
)

// ErrNotLatching is what a reset of any other alarm is refused with.
var ErrNotLatching = errors.New("only a parting is reset by hand: other alarms end when what they tell of does")

// Latching reports whether an alarm stays until somebody says that it is over, a latching
// alarm in the words of ISA-18.2: a line that has parted does not heal. The load of a
// line made fast again ends it too, where a pin shows that, and so does the end of the
// watch over the ship.
func Latching(condition string) bool {
	return condition == detect.LineParted.String() || condition == detect.Redistribution.String()
}

// Reset ends a latching alarm on a person's word, and for why: the line was renewed, made
// fast again, or looked at and holds. Whoever resets it has acknowledged it. Errors are
// ErrUnknown, which is also of one that is over, ErrNoName, ErrNoReason and ErrNotLatching.
func (l *Log) Reset(ctx context.Context, id string, p Person, reason string) (State, error) {
	return l.onAlarm(ctx, id, p, func(s *State, r *Record) error {
		r.Transition, r.Note = Cleared, strings.TrimSpace(reason)
		switch {
		case !Latching(s.Condition):
			return ErrNotLatching
		case !s.Active():
			return ErrUnknown
		case r.Note == "":
			return ErrNoReason
		}
		return nil
	})
}

// Standing gives what raised the alarms of a berth that stand, those of the detectors
// that entries up to a journal position raised: a watch that takes up readings from before
// a parting finds it there itself.
func (l *Log) Standing(berth string, position uint64) (raised []detect.Change) {
	all, _ := l.List(berth, false)
	for i := range all {
		if isDetected(all[i].Condition) && all[i].journal <= position {
			raised = append(raised, all[i].change())
		}
	}
	return raised
}

// WasReset reports whether a person has reset what a change of a berth raised.
func (l *Log) WasReset(berth string, raised detect.Change) bool {
	l.mu.RLock()
	defer l.mu.RUnlock()
	return l.fold.wasReset(berth, &raised)
}

func (f *fold) wasReset(berth string, raised *detect.Change) bool {
	key := subject(berth, raised).key()
	last, ok := f.reset[key]
	return ok && !raised.When().After(last) && f.active[key] == nil
}

// change is what raised an alarm of the detectors', as far as it says which one it is.
func (s *State) change() detect.Change {
	known := detect.Conditions()
	c := detect.Change{Time: s.Raised.UnixNano(), Raised: true, Line: s.Line, Value: s.Value, Limit: s.Limit, HasLimit: s.HasLimit, Unit: s.Unit, Detail: s.Detail,
		Condition: known[slices.IndexFunc(known, func(c detect.Condition) bool { return c.String() == s.Condition })]}
	for g := mooring.Head; g <= mooring.Stern; g++ {
		if g.String() == s.Group {
			c.Group = g
		}
	}
	if !s.Onset.IsZero() {
		c.Onset = s.Onset.UnixNano()
	}
	return c
}
