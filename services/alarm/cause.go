package alarm

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"hawser/detect"
)

// One cause, one alarm. Load pins come in over a gateway; when it stops, or its
// clock steps, each of them is a sensor-fault of its own, for silence, on record
// under its line. Twenty calls for one cause bury the next one: what EEMUA 191 calls
// a flood, and for which ISA-18.2 has suppression by design. So
//
//	raised for silence ─► waits for gather ─┬─► under the alarm for the cause
//	                                         └─► calls for itself
//
// The cause is one of the server's own conditions that explain it (a berth heard no
// more, a clock), if it is active; else, where half or more of the berth's load
// pins, two at least, fell silent together, PinsSilent is raised for them. Pins with
// another fault on record do not count. When more fall silent later by half or more
// of the rest, that is news: PinsSilent is raised anew, for all.
//
// PinsSilent clears when no line is under it any more. Fewer than half of its lines,
// and nothing heard of another for as long as together, are not that cause: they
// call for themselves. A condition of the server's own may end before its pins have
// been well for long enough: theirs have comeBack, and are then judged as those that
// waited. What has once called for itself is not suppressed again until it clears.
//
// Acknowledging the alarm for the cause, or shelving it, is of that alarm alone; a
// line that calls for itself afterwards does so unacknowledged and on no shelf. A
// line's own shelf goes before its suppression.
//
// Each step is a record. What the next one is follows from the state and the clock,
// so that a restart goes on wherever it was cut off.
const (
	// PinsSilent is the condition of many load pins that fell silent together.
	PinsSilent = "pins-silent"

	// The figures are common practice, no source.
	gather   = 3 * time.Second  // the pins of one gateway do not all send at once
	together = 5 * time.Second  // from the first to the last reading of such pins
	comeBack = 45 * time.Second // the detectors ask for 30 s of good readings
	sameStep = 30 * time.Second // from a pin's last reading to a clock being told of
)

// Suppression keeps an alarm from calling, by design.
type Suppression struct {
	Under string    // the alarm for the cause; empty while there is none yet
	Until time.Time // then it calls, where there is none
}

// maySuppress reports whether a change may be one of many for one cause.
func (l *Log) maySuppress(berth string, c *detect.Change) bool {
	return c.By == detect.Silence && l.o.Pins != nil && l.o.Pins(berth) > 1
}

// nextOfCause is the next record that suppression by design asks for, nil for none.
func (l *Log) nextOfCause(now time.Time) *Record {
	by := map[string]*silence{}
	for _, s := range l.fold.active {
		if s.Suppressed == nil && s.Condition != PinsSilent {
			continue
		}
		b := by[s.Berth]
		if b == nil {
			b = &silence{Log: l, berth: s.Berth, now: now}
			by[s.Berth] = b
		}
		if s.Suppressed == nil {
			b.told = s
		} else {
			b.quiet = append(b.quiet, s)
		}
	}
	berths := make([]string, 0, len(by))
	for name := range by {
		berths = append(berths, name)
	}
	slices.Sort(berths)
	for _, name := range berths {
		b := by[name]
		slices.SortFunc(b.quiet, func(x, y *State) int {
			return cmp.Or(x.Onset.Compare(y.Onset), cmp.Compare(x.Line, y.Line))
		})
		if l.o.Pins != nil {
			b.pins = l.o.Pins(name)
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

// silence is what is silent at one berth.
type silence struct {
	*Log
	berth string
	pins  int // load pins by the plan
	now   time.Time
	told  *State   // PinsSilent, nil where it is not active
	quiet []*State // what is suppressed, in the order in which it fell silent
}

// next is the next record, nil for none. The order matters: what belongs under an
// alarm is put there before that alarm may end.
func (b *silence) next() *Record {
	for _, s := range b.quiet {
		if b.joins(s) {
			return suppressed(s, b.told.ID)
		}
		if cause := b.explained(s); cause != nil {
			return suppressed(s, cause.ID)
		}
	}
	if r := b.leave(); r != nil {
		return r
	}
	return b.judge()
}

// joins reports whether a line goes under PinsSilent: it fell silent with the
// others, or was under the one before.
func (b *silence) joins(s *State) bool {
	if b.told == nil || s.Suppressed.Under == b.told.ID {
		return false
	}
	if before := b.fold.byID[s.Suppressed.Under]; before != nil && before.Condition == PinsSilent {
		return true
	}
	return b.loose(s) && near(s.Onset, b.told.Onset, together)
}

// explained is the active condition of the server's own by which a line that waits
// fell silent, nil for none. A berth that is not heard explains all; a clock may be
// that of another source, so that its time has to agree.
func (b *silence) explained(s *State) *State {
	if under := b.fold.byID[s.Suppressed.Under]; under != nil && under.Active() {
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
func (b *silence) own(condition string) *State {
	return b.fold.active[Subject{Berth: b.berth, Condition: condition}]
}

func near(a, b time.Time, most time.Duration) bool { return a.Sub(b).Abs() <= most }

// loose reports whether a line waits for its cause: none is known yet, or the one
// that was is over for so long that the line should have come back.
func (b *silence) loose(s *State) bool {
	if s.Suppressed.Under == "" {
		return true
	}
	cause := b.fold.byID[s.Suppressed.Under]
	return cause == nil || !cause.Active() && b.now.Sub(cause.Cleared) >= comeBack
}

// due reports whether a loose line has waited for long enough. After a start, the
// others that fell silent with it have as long again to be told of.
func (b *silence) due(s *State) bool {
	return s.Suppressed.Under != "" || !b.now.Before(s.Suppressed.Until) && b.now.Sub(b.opened) >= gather
}

// leave lets the last few lines under PinsSilent call for themselves, and ends it
// when none is left.
func (b *silence) leave() *Record {
	if b.told == nil {
		return nil
	}
	var under []*State
	for _, s := range b.quiet {
		if s.Suppressed.Under == b.told.ID {
			under = append(under, s)
		}
	}
	switch {
	case len(under) == 0:
		return clearing(b.told, b.now.UTC(), "")
	case 2*len(under) < int(b.told.Value) && b.now.Sub(b.told.CameBack) >= together:
		return unsuppressed(under[0])
	}
	return nil
}

// judge looks at the line that has waited longest: it is one of many, or calls for
// itself.
func (b *silence) judge() *Record {
	var loose []*State
	for _, s := range b.quiet {
		if b.loose(s) {
			loose = append(loose, s)
		}
	}
	i := slices.IndexFunc(loose, b.due)
	if i < 0 {
		return nil
	}
	var many []*State
	for _, s := range loose {
		if near(s.Onset, loose[i].Onset, together) {
			many = append(many, s)
		}
	}
	if b.pins < 2 || len(many) < 2 || 2*len(many) < b.sound(len(loose)) {
		return unsuppressed(loose[i])
	}
	if b.told != nil {
		return clearing(b.told, b.now.UTC(), "More load pins have fallen silent since: another alarm is raised for all.")
	}
	return b.raise(many)
}

// sound is how many of the berth's pins could have fallen silent just now: those
// with no fault on record, and those that wait.
func (b *silence) sound(waiting int) int {
	n := b.pins + waiting
	for _, s := range b.fold.active {
		if s.Berth == b.berth && s.Condition == detect.SensorFault.String() {
			n--
		}
	}
	return n
}

// raise makes the record that raises PinsSilent for lines that fell silent together,
// those of the one before with them.
func (b *silence) raise(many []*State) *Record {
	lines := make([]string, len(many))
	for i, s := range many {
		lines[i] = s.Line
	}
	slices.SortFunc(lines, func(x, y string) int { return cmp.Or(cmp.Compare(len(x), len(y)), cmp.Compare(x, y)) })
	all, before := len(many), ""
	for _, s := range b.quiet {
		if cause := b.fold.byID[s.Suppressed.Under]; cause != nil && cause.Condition == PinsSilent && !b.loose(s) {
			all++
		}
	}
	if all > len(many) {
		before = fmt.Sprintf(", %d more before them", all-len(many))
	}
	onset := many[0].Onset
	return &Record{
		Transition: Raised, Subject: Subject{Berth: b.berth, Condition: PinsSilent}, Priority: detect.Alarm, Onset: onset,
		Measure: Measure{Value: float64(all), HasValue: true, Unit: "load pins"},
		Detail: fmt.Sprintf("%d load pins of berth %s stopped sending at %s%s, lines %s: watch these lines by the ship's own means; look at the gateway first, its supply, link and clock.",
			len(many), b.berth, onset.UTC().Format("15:04:05 UTC"), before, strings.Join(lines, ", ")),
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
