package alarm

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"hawser/detect"
)

// One cause, one alarm. Load pins come in over a gateway; when it stops, or its
// clock steps, each of them is a sensor-fault of its own, for silence, on record
// under its line; when it goes on sending what it had, for standing still. Twenty
// calls for one cause bury the next one: what EEMUA 191 calls a flood, and for which
// ISA-18.2 has suppression by design. So
//
//	raised for silence ─► waits for gather ─┬─► under the alarm for the cause
//	                                         └─► calls for itself
//
// The cause is one of the server's own conditions that explain it (a berth heard no
// more, a clock), if it is active; else PinsSilent is raised
//
//	of a source   where half or more of its load pins, two at least, fell silent together
//	of several    where such sources fell silent together, and theirs are half or more
//	              of the berth's: what they share is to be looked at
//
// and a berth has as many of the first kind as it has gateways that stopped. Whose a
// pin is stands in the record of its fault: who sent it last, before it fell silent.
// Those that nobody has sent yet are taken as of one source. Pins with another fault
// on record do not count. When more fall silent later by half or more of the rest,
// that is news: PinsSilent is raised anew, for all.
//
// For pins that stand still it is PinsStill, by the same rules; no condition of the
// server's own explains them.
//
// Either clears when no line is under it any more. Fewer than half of its lines,
// and nothing heard of another for as long as together, are not that cause: they go
// under one of their own source where they are half of it, or call for themselves. A
// condition of the server's own may end before its pins have been well for long
// enough: theirs have comeBack, and are then judged as those that waited. What has
// once called for itself is not suppressed again until it clears.
//
// Acknowledging the alarm for the cause, or shelving it, is of that alarm alone; a
// line that calls for itself afterwards does so unacknowledged and on no shelf. A
// line's own shelf goes before its suppression.
//
// Each step is a record. What the next one is follows from the state, the clock and
// the pins, so that a restart goes on wherever it was cut off.
const (
	// PinsSilent is the condition of many load pins that fell silent together.
	PinsSilent = "pins-silent"
	// PinsStill is that of many that came to a standstill together.
	PinsStill = "pins-still"

	// The figures are common practice, no source.
	gather   = 3 * time.Second  // the pins of one gateway do not all send at once
	together = 5 * time.Second  // from the first to the last reading of such pins
	comeBack = 45 * time.Second // the detectors ask for 30 s of good readings
	sameStep = 30 * time.Second // from a pin's last reading to a clock being told of

	several = "" // the source of either for more than one
)

// joints are the conditions that tell of many load pins together, by what the fault of
// each is raised by.
var joints = map[detect.Measure]string{detect.Silence: PinsSilent, detect.AllStill: PinsStill}

// Suppression keeps an alarm from calling, by design.
type Suppression struct {
	Joint string    // the condition that tells of many like it together
	Under string    // the alarm for the cause; empty while there is none yet
	Until time.Time // then it calls, where there is none
}

// nextOfCause is the next record that suppression by design asks for, nil for none.
func (l *Log) nextOfCause(now time.Time) *Record {
	by := map[Subject]*joint{}
	for _, s := range l.fold.active {
		key := Subject{Berth: s.Berth, Condition: s.Condition}
		if s.Suppressed != nil {
			key.Condition = s.Suppressed.Joint
		} else if s.Condition != PinsSilent && s.Condition != PinsStill {
			continue
		}
		b := by[key]
		if b == nil {
			b = &joint{Log: l, berth: s.Berth, condition: key.Condition, now: now}
			by[key] = b
		}
		if s.Suppressed == nil {
			b.told = append(b.told, s)
		} else {
			b.quiet = append(b.quiet, s)
		}
	}
	for _, key := range slices.SortedFunc(maps.Keys(by), func(x, y Subject) int {
		return cmp.Or(cmp.Compare(x.Berth, y.Berth), cmp.Compare(x.Condition, y.Condition))
	}) {
		b := by[key]
		slices.SortFunc(b.told, func(x, y *State) int { return cmp.Compare(x.Source, y.Source) })
		slices.SortFunc(b.quiet, func(x, y *State) int {
			return cmp.Or(x.Onset.Compare(y.Onset), cmp.Compare(x.Line, y.Line))
		})
		if l.o.Pins != nil {
			b.pins = l.o.Pins(b.berth)
		}
		if r := b.next(); r != nil {
			r.Time = now.UTC()
			if r.Transition == Raised {
				r.ID = l.fold.name(r.Subject, r.Time)
			}
			return r
		}
	}
	return nil
}

// joint is what one condition tells of many load pins of one berth together.
type joint struct {
	*Log
	berth, condition string
	pins             map[string]string // source by line, as in Options
	now              time.Time
	told             []*State // alarms of the condition that are active, by source
	quiet            []*State // what is suppressed, in the order in which it fell silent or still
}

// next is the next record, nil for none. The order matters: what belongs under an
// alarm is put there before that alarm may end.
func (b *joint) next() *Record {
	for _, s := range b.quiet {
		for _, source := range []string{s.Source, several} {
			if g := b.toldOf(source); g != nil && b.joins(s, g) {
				return suppressed(s, g.ID)
			}
		}
		if cause := b.explained(s); cause != nil {
			return suppressed(s, cause.ID)
		}
	}
	for _, g := range b.told {
		if r := b.leave(g); r != nil {
			return r
		}
	}
	return b.judge()
}

// toldOf is the active alarm of a source, nil for none.
func (b *joint) toldOf(source string) *State {
	if i := slices.IndexFunc(b.told, func(g *State) bool { return g.Source == source }); i >= 0 {
		return b.told[i]
	}
	return nil
}

// joins reports whether a line goes under an alarm of its source or of several:
// it fell silent with the others, was under the one before, or under one of several
// that is no more than this source's.
func (b *joint) joins(s, g *State) bool {
	switch before := b.cause(s); {
	case before == g:
		return false
	case before != nil && before.Condition == b.condition && before.Source == g.Source:
		return true
	case before != nil && before.Active():
		return before.Condition == b.condition && before.Source == several && b.endsWith(before, b.under(before))
	}
	return b.loose(s) && near(s.Onset, g.Onset, together)
}

// cause is the alarm that a line is under, nil for none or one of long ago.
func (b *joint) cause(s *State) *State { return b.fold.byID[s.Suppressed.Under] }

// under are the lines under an alarm.
func (b *joint) under(g *State) []*State {
	return those(b.quiet, func(s *State) bool { return b.cause(s) == g })
}

// endsWith reports whether so few lines are left under an alarm that they are
// not that cause.
func (b *joint) endsWith(g *State, under []*State) bool {
	return 2*len(under) < int(g.Value) && b.now.Sub(g.CameBack) >= together
}

// explained is the active condition of the server's own by which a line that waits
// fell silent, nil for none. A berth that is not heard explains all; a clock may be
// that of another source, so that its time has to agree.
func (b *joint) explained(s *State) *State {
	if cause := b.cause(s); b.condition != PinsSilent || cause != nil && cause.Active() {
		return nil
	}
	if c := b.own(b.o.Unheard); c != nil {
		return c
	}
	for _, condition := range b.o.Clocks {
		if c := b.own(condition); c != nil && near(s.Onset, c.Raised, sameStep) {
			return c
		}
	}
	return nil
}

// own is an active condition of the server's own at the berth, nil for none.
func (b *joint) own(condition string) *State {
	return b.fold.active[Subject{Berth: b.berth, Condition: condition}]
}

func near(a, b time.Time, most time.Duration) bool { return a.Sub(b).Abs() <= most }

// those are the states for which keep is true.
func those(all []*State, keep func(*State) bool) []*State {
	var out []*State
	for _, s := range all {
		if keep(s) {
			out = append(out, s)
		}
	}
	return out
}

// loose reports whether a line waits for its cause: none is known yet, or the one
// that was is over for so long that the line should have come back.
func (b *joint) loose(s *State) bool {
	cause := b.cause(s)
	return cause == nil || !cause.Active() && b.now.Sub(cause.Cleared) >= comeBack
}

// due reports whether a loose line has waited for long enough. After a start, the
// others that fell silent with it have as long again to be told of.
func (b *joint) due(s *State) bool {
	return s.Suppressed.Under != "" || !b.now.Before(s.Suppressed.Until) && b.now.Sub(b.opened) >= gather
}

// leave lets the last few lines under an alarm go, and ends it when none is
// left.
func (b *joint) leave(g *State) *Record {
	under := b.under(g)
	switch {
	case len(under) == 0:
		return clearing(g, b.now.UTC(), "")
	case !b.endsWith(g, under):
		return nil
	}
	own := those(under, sentBy(under[0].Source))
	if g.Source == several && own[0].Source != several && len(own) > 1 && b.gone(own, own) {
		return b.raise(own[0].Source, own)
	}
	return unsuppressed(under[0])
}

// judge looks at the line that has waited longest: it is one of many, or calls for
// itself.
func (b *joint) judge() *Record {
	loose := those(b.quiet, b.loose)
	i := slices.IndexFunc(loose, b.due)
	if i < 0 {
		return nil
	}
	first := loose[i]
	many := those(loose, func(s *State) bool { return near(s.Onset, first.Onset, together) })
	own := those(many, sentBy(first.Source))
	if len(b.pins) < 2 || !b.gone(own, loose) {
		return unsuppressed(first)
	}
	wide := those(many, func(s *State) bool { return b.gone(those(many, sentBy(s.Source)), loose) })
	switch {
	case len(wide) > len(own) && 2*len(wide) >= b.sound(loose, func(string) bool { return true }):
		return b.tell(several, wide)
	case len(own) > 1:
		return b.tell(first.Source, own)
	}
	return unsuppressed(first)
}

func sentBy(source string) func(*State) bool {
	return func(s *State) bool { return s.Source == source }
}

// gone reports whether lines of one source, of those that wait, are half or more of
// its pins.
func (b *joint) gone(own, waiting []*State) bool {
	source := own[0].Source
	return 2*len(own) >= b.sound(waiting, func(from string) bool { return from == source })
}

// sound is how many of some sources' pins could have fallen silent just now: those
// with no fault on record, and those that wait.
func (b *joint) sound(waiting []*State, of func(source string) bool) int {
	n := len(those(waiting, func(s *State) bool { return of(s.Source) }))
	for line, source := range b.pins {
		if of(source) && b.fold.active[Subject{Berth: b.berth, Condition: detect.SensorFault.String(), Line: line}] == nil {
			n++
		}
	}
	return n
}

// tell makes the record that tells of lines that fell silent together, or ends the
// alarm of those before them first.
func (b *joint) tell(source string, many []*State) *Record {
	if g := b.toldOf(source); g != nil {
		return clearing(g, b.now.UTC(), more[b.condition])
	}
	return b.raise(source, many)
}

// raise makes the record that raises an alarm for lines that fell silent or still
// together, those of the one before with them.
func (b *joint) raise(source string, many []*State) *Record {
	before := those(b.quiet, func(s *State) bool {
		cause := b.cause(s)
		return cause != nil && !cause.Active() && cause.Condition == b.condition && cause.Source == source && !b.loose(s)
	})
	return &Record{
		Transition: Raised, Subject: Subject{Berth: b.berth, Condition: b.condition, Source: source},
		Priority: detect.Alarm, Onset: many[0].Onset,
		Measure: Measure{Value: float64(len(many) + len(before)), HasValue: true, Unit: "load pins"},
		Detail:  b.detail(many, len(before)),
	}
}

func suppressed(s *State, under string) *Record {
	return &Record{ID: s.ID, Transition: Suppressed, Subject: s.Subject, Priority: s.Priority, Under: under}
}

// unsuppressed has all that a raise has: whoever hears of it has not heard of the
// alarm before.
func unsuppressed(s *State) *Record {
	return &Record{ID: s.ID, Transition: Unsuppressed, Subject: s.Subject, Priority: s.Priority,
		Onset: s.Onset, Measure: s.Measure, Detail: s.Detail}
}
