package alarm

import (
	"cmp"
	"slices"
	"strconv"
	"time"
)

// mark is how far a berth's changes have been applied.
type mark struct {
	position uint64
	change   uint32
}

func (m mark) covers(position uint64, change uint32) bool {
	return position < m.position || position == m.position && change <= m.change
}

// endOfEntry is past the index of every change of one journal entry.
const endOfEntry = 1<<32 - 1

// fold is the state that the records so far amount to. What it hands out it does
// not change afterwards.
type fold struct {
	position uint64
	active   map[Subject]*State // by key
	byID     map[string]*State
	cleared  []*State // oldest first, at most keep
	keep     int
	holds    map[Subject]*Hold     // by key
	marks    map[string]mark       // by berth
	reached  map[string]uint64     // by berth: the highest position ever applied
	reset    map[Subject]time.Time // by key: when the alarm was raised that a person reset last
}

func newFold(keep int) fold {
	return fold{active: map[Subject]*State{}, byID: map[string]*State{}, holds: map[Subject]*Hold{}, marks: map[string]mark{}, reached: map[string]uint64{}, reset: map[Subject]time.Time{}, keep: keep}
}

// effect reports whether a record would change an alarm or a hold.
func (f *fold) effect(r *Record) bool {
	s := f.byID[r.ID]
	switch r.Transition {
	case Raised:
		return s == nil && f.active[r.key()] == nil
	case Cleared:
		return s != nil && f.active[r.key()] == s
	case Acknowledged:
		return s != nil && s.acknowledgedBy(r.Side) == nil
	case Escalated:
		return s != nil && s.Active() && s.Suppressed == nil && s.Acknowledged() == nil && f.holdOn(s.Subject) == nil && r.Level == s.Level+1
	case Noted:
		return s != nil
	case Suppressed:
		return s != nil && s.Active() && s.Suppressed != nil && s.Suppressed.Under != r.Under
	case Unsuppressed:
		return s != nil && s.Active() && s.Suppressed != nil
	case PutOnShelf:
		return r.Until.After(r.Time)
	case TakenOutOfService:
		return true
	case HoldEnded:
		return f.holds[r.key()] != nil
	}
	return false
}

// holdOn is what keeps a subject quiet, by itself or with all of its line.
func (f *fold) holdOn(s Subject) *Hold { return f.holdBut(s, nil) }

// holdBut is holdOn as if one hold had ended.
func (f *fold) holdBut(s Subject, ended *Hold) *Hold {
	if h := f.holds[s.key()]; h != nil && h != ended {
		return h
	}
	if s.Line == "" {
		return nil
	}
	if h := f.holds[Subject{Berth: s.Berth, Line: s.Line}]; h != ended {
		return h
	}
	return nil
}

// add folds the record that follows.
func (f *fold) add(r *Record) {
	f.position = r.Position
	if m := f.marks[r.Berth]; r.Transition == Rewound || r.Journal > 0 && !m.covers(r.Journal, r.Change) {
		f.marks[r.Berth] = mark{r.Journal, r.Change}
	}
	if r.Transition == Rewound {
		f.lose(r.Berth, r.Journal)
	}
	if r.Journal > f.reached[r.Berth] {
		f.reached[r.Berth] = r.Journal
	}
	if !f.effect(r) {
		return
	}
	s := f.after(r)
	switch r.Transition {
	case Raised:
		f.active[r.key()], f.byID[r.ID] = &s, &s
	case Cleared:
		delete(f.active, r.key())
		f.byID[r.ID] = &s
		if r.By != "" {
			f.reset[r.key()] = s.Raised
		}
		f.cleared = append(f.cleared, &s)
		f.forget()
		f.cameBack(&s, r.Recorded)
	case Acknowledged, Escalated, Noted, Suppressed, Unsuppressed:
		f.replace(&s)
	case PutOnShelf, TakenOutOfService:
		f.holds[r.key()] = r.hold()
	case HoldEnded:
		h := f.holds[r.key()]
		delete(f.holds, r.key())
		f.callAgain(h, r.Recorded)
	}
}

// after is what an alarm would be after a record that has an effect on it.
func (f *fold) after(r *Record) State {
	var s State
	if old := f.byID[r.ID]; old != nil {
		s = *old
	}
	s.Hold = f.holdOn(r.Subject)
	switch r.Transition {
	case Raised:
		s.ID, s.Subject, s.Priority, s.Raised, s.Onset = r.ID, r.Subject, r.Priority, r.Time, r.Onset
		s.Measure, s.Detail, s.Recorded, s.Called = r.Measure, r.Detail, r.Recorded, r.Recorded
		s.journal = r.Journal
		if !r.Until.IsZero() {
			s.Suppressed = &Suppression{Joint: r.Joint, Until: r.Until}
		}
	case Cleared:
		s.Cleared, s.Return = r.Time, Return{r.Recorded, r.Detail}
		if r.By != "" { // a reset: who says that it is over has seen it
			s.Notes = withNote(s.Notes, r)
			if s.Acknowledged() == nil {
				s.Acknowledgements = []Acknowledgement{{Person: r.Person, At: r.Time}}
			}
		}
	case Acknowledged:
		s.Acknowledgements = append(slices.Clip(s.Acknowledgements), Acknowledgement{r.Person, r.Time, r.Note})
	case Escalated:
		s.Level = r.Level
	case Noted:
		s.Notes = withNote(s.Notes, r)
	case Suppressed:
		s.Suppressed = &Suppression{Joint: s.Suppressed.Joint, Under: r.Under}
	case Unsuppressed:
		s.Suppressed, s.Called = nil, r.Recorded
	case PutOnShelf, TakenOutOfService:
		s.Hold = r.hold()
	case HoldEnded:
		s.Hold = f.holdBut(s.Subject, f.holds[r.key()])
	}
	return s
}

// withNote is the newest of an alarm's notes with that of a record.
func withNote(notes []Note, r *Record) []Note {
	notes = append(slices.Clip(notes), Note{r.Person, r.Time, r.Note})
	return notes[max(0, len(notes)-notesKept):]
}

// replace puts an alarm's new state in the place of the old.
func (f *fold) replace(s *State) {
	old := f.byID[s.ID]
	f.byID[s.ID] = s
	if f.active[s.key()] == old {
		f.active[s.key()] = s
	}
	if i := slices.Index(f.cleared, old); i >= 0 {
		f.cleared[i] = s
	}
}

// cameBack notes at the alarm that s was suppressed under that s has cleared.
func (f *fold) cameBack(s *State, at time.Time) {
	if s.Suppressed == nil {
		return
	}
	if cause := f.byID[s.Suppressed.Under]; cause != nil && cause.Active() {
		noted := *cause
		noted.CameBack = at
		f.replace(&noted)
	}
}

// callAgain starts the time anew in which what a hold kept quiet is to be
// acknowledged.
func (f *fold) callAgain(h *Hold, at time.Time) {
	for _, s := range f.active {
		if h.covers(s.Subject) && f.holdOn(s.Subject) == nil {
			again := *s
			again.Called = at
			f.replace(&again)
		}
	}
}

// covers reports whether the hold is on a subject.
func (h *Hold) covers(s Subject) bool {
	return h.key() == s.key() || h.Condition == "" && h.Berth == s.Berth && h.Line == s.Line
}

// forget drops the cleared alarms over the bound.
func (f *fold) forget() {
	for len(f.cleared) > f.keep {
		if old := f.cleared[0]; f.byID[old.ID] == old {
			delete(f.byID, old.ID)
		}
		f.cleared[0] = nil
		f.cleared = f.cleared[1:]
	}
}

// name makes an alarm's id: berth, condition, line or group, and time of the
// raise. One that is in use already, as when a recording is sent again, gets a
// number.
func (f *fold) name(s Subject, raised time.Time) string {
	id := firstName(s, raised)
	for n, first := 2, id; f.byID[id] != nil; n++ {
		id = first + "~" + strconv.Itoa(n)
	}
	return id
}

func firstName(s Subject, raised time.Time) string {
	berth := s.Berth
	if berth == "" {
		berth = "server"
	}
	return berth + "/" + s.Condition + "/" + s.Place() + "/" + raised.UTC().Format("2006-01-02T15:04:05.000Z")
}

// lose notes which alarms of a berth were raised by what comes after a position, which
// the journal has lost.
func (f *fold) lose(berth string, last uint64) {
	for _, s := range f.byID {
		if s.Berth == berth && s.journal > last && !s.lost {
			after := *s
			after.lost = true
			f.replace(&after)
		}
	}
}

// told reports whether a subject was raised at that very time by readings that the
// journal has lost: from those that come in their place it is the same alarm.
func (f *fold) told(s Subject, at time.Time) bool {
	was := f.byID[firstName(s, at)]
	return was != nil && was.lost && was.key() == s.key() && was.Raised.Equal(at)
}

// list copies the alarms of a berth, or of all for "", with what holds them.
func (f *fold) list(berth string, cleared bool) []State {
	copied := func(s *State) *State {
		c := *s
		c.Hold = f.holdOn(s.Subject)
		return &c
	}
	var picked []*State
	for _, s := range f.active {
		if berth == "" || s.Berth == berth {
			picked = append(picked, copied(s))
		}
	}
	slices.SortFunc(picked, worse())
	if cleared {
		for _, s := range slices.Backward(f.cleared) {
			if berth == "" || s.Berth == berth {
				picked = append(picked, copied(s))
			}
		}
	}
	out := make([]State, len(picked))
	for i, s := range picked {
		out[i] = *s
	}
	return out
}

// held copies the holds of a berth, or of all for "", oldest first.
func (f *fold) held(berth string) []Hold {
	var out []Hold
	for _, h := range f.holds {
		if berth == "" || h.Berth == berth {
			out = append(out, *h)
		}
	}
	slices.SortFunc(out, func(a, b Hold) int {
		return cmp.Or(a.Since.Compare(b.Since), cmp.Compare(a.Berth, b.Berth), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Condition, b.Condition))
	})
	return out
}
