package alarm

import (
	"cmp"
	"slices"
	"strconv"
	"time"

	"hawser/detect"
)

// State is the present state of one alarm.
type State struct {
	ID string
	Subject
	Priority detect.Priority
	Raised   time.Time
	Recorded time.Time // when the raise went on record
	Onset    time.Time // zero where not known
	Cleared  time.Time // zero while active
	Measure            // as raised
	Detail   string    // as raised
	// Zero and empty until acknowledged.
	Acknowledged time.Time
	By, Note     string
}

// Active reports whether the alarm has been raised and not cleared.
func (s *State) Active() bool { return s.Cleared.IsZero() }

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

// fold is the state that the records so far amount to.
type fold struct {
	position uint64
	active   map[Subject]*State // by key
	byID     map[string]*State
	cleared  []*State // oldest first, at most keep
	keep     int
	marks    map[string]mark // by berth
}

func newFold(keep int) fold {
	return fold{active: map[Subject]*State{}, byID: map[string]*State{}, marks: map[string]mark{}, keep: keep}
}

// effect reports whether a record would change an alarm.
func (f *fold) effect(r *Record) bool {
	switch s := f.active[r.key()]; r.Transition {
	case Raised:
		return s == nil && f.byID[r.ID] == nil
	case Cleared:
		return s != nil && s.ID == r.ID
	case Acknowledged:
		s := f.byID[r.ID]
		return s != nil && s.Acknowledged.IsZero()
	}
	return false
}

// add folds the record that follows.
func (f *fold) add(r *Record) {
	f.position = r.Position
	if m := f.marks[r.Berth]; r.Transition == Rewound || r.Journal > 0 && !m.covers(r.Journal, r.Change) {
		f.marks[r.Berth] = mark{r.Journal, r.Change}
	}
	if !f.effect(r) {
		return
	}
	switch r.Transition {
	case Raised:
		s := &State{ID: r.ID, Subject: r.Subject, Priority: r.Priority, Raised: r.Time, Recorded: r.Recorded, Onset: r.Onset,
			Measure: r.Measure, Detail: r.Detail}
		f.active[r.key()], f.byID[r.ID] = s, s
	case Cleared:
		s := f.active[r.key()]
		s.Cleared = r.Time
		delete(f.active, r.key())
		f.cleared = append(f.cleared, s)
		f.forget()
	case Acknowledged:
		s := f.byID[r.ID]
		s.Acknowledged, s.By, s.Note = r.Time, r.By, r.Note
	}
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
	berth := s.Berth
	if berth == "" {
		berth = "server"
	}
	id := berth + "/" + s.Condition + "/" + s.place() + "/" + raised.UTC().Format("2006-01-02T15:04:05.000Z")
	for n, first := 2, id; f.byID[id] != nil; n++ {
		id = first + "~" + strconv.Itoa(n)
	}
	return id
}

// worse orders active alarms: by priority, those nobody has taken on first, by
// urgency (the order of the detectors' list, the server's own after them), newest
// first, by id.
func worse() func(a, b *State) int {
	known := detect.Conditions()
	urgency := make(map[string]int, len(known))
	for i, c := range known {
		urgency[c.String()] = i - len(known) // under the 0 of those not listed
	}
	taken := func(s *State) int {
		if s.Acknowledged.IsZero() {
			return 0
		}
		return 1
	}
	return func(a, b *State) int {
		return cmp.Or(
			cmp.Compare(a.Priority, b.Priority),
			cmp.Compare(taken(a), taken(b)),
			cmp.Compare(urgency[a.Condition], urgency[b.Condition]),
			b.Raised.Compare(a.Raised),
			cmp.Compare(a.ID, b.ID),
		)
	}
}

// list copies the alarms of a berth, or of all for "".
func (f *fold) list(berth string, cleared bool) []State {
	var picked []*State
	for _, s := range f.active {
		if berth == "" || s.Berth == berth {
			picked = append(picked, s)
		}
	}
	slices.SortFunc(picked, worse())
	if cleared {
		for _, s := range slices.Backward(f.cleared) {
			if berth == "" || s.Berth == berth {
				picked = append(picked, s)
			}
		}
	}
	out := make([]State, len(picked))
	for i, s := range picked {
		out[i] = *s
	}
	return out
}
