package alarm

import (
	"time"

	"hawser/detect"
	hawserv1 "hawser/proto/hawser/v1"
)

// Lifecycle is an alarm's state in the alarm management lifecycle of
// ANSI/ISA-18.2-2016 and IEC 62682 (names of the states from memory):
//
//	          raised                  acknowledged
//	normal ───────────► active, not ───────────────► active, acknowledged
//	   ▲                acknowledged                        │
//	   │                     │ cleared                      │ cleared
//	   │    acknowledged     ▼                              ▼
//	   ├──────────────── returned, not acknowledged      normal
//	   │                 (emergency and alarm; a warning or caution: normal)
//	   │
//	   │         cleared
//	   └──────────────── shelved, out of service ◄──► active, acknowledged or not
//	                                          held, hold ended
//
// What is raised while its line or condition is held is held from the start.
// Suppressed by design is what another alarm calls for, from its raise until it
// clears or calls for itself (see PinsSilent); it is over without a call. While a
// berth is not under watch its detectors raise nothing.
type Lifecycle uint8

// The states, with the numbers of the schema.
const (
	Normal                 = Lifecycle(hawserv1.AlarmLifecycle_ALARM_LIFECYCLE_NORMAL)
	ActiveUnacknowledged   = Lifecycle(hawserv1.AlarmLifecycle_ALARM_LIFECYCLE_ACTIVE_UNACKNOWLEDGED)
	ActiveAcknowledged     = Lifecycle(hawserv1.AlarmLifecycle_ALARM_LIFECYCLE_ACTIVE_ACKNOWLEDGED)
	ReturnedUnacknowledged = Lifecycle(hawserv1.AlarmLifecycle_ALARM_LIFECYCLE_RETURNED_UNACKNOWLEDGED)
	Shelved                = Lifecycle(hawserv1.AlarmLifecycle_ALARM_LIFECYCLE_SHELVED)
	OutOfService           = Lifecycle(hawserv1.AlarmLifecycle_ALARM_LIFECYCLE_OUT_OF_SERVICE)
	SuppressedByDesign     = Lifecycle(hawserv1.AlarmLifecycle_ALARM_LIFECYCLE_SUPPRESSED)
)

// Quiet reports whether people are not to be called for an alarm in this state.
func (c Lifecycle) Quiet() bool {
	return c == Normal || c == Shelved || c == OutOfService || c == SuppressedByDesign
}

// Side is for whom a person acts: ship and terminal each acknowledge for
// themselves.
type Side uint8

// The sides, with the numbers of the schema.
const (
	Terminal = Side(hawserv1.AlarmSide_ALARM_SIDE_TERMINAL)
	Ship     = Side(hawserv1.AlarmSide_ALARM_SIDE_SHIP)
)

// String is the side in a word.
func (s Side) String() string {
	if s == Ship {
		return "ship"
	}
	return "terminal"
}

// sideOf is a side of the schema; who does not say is the terminal.
func sideOf(s hawserv1.AlarmSide) Side {
	if s == hawserv1.AlarmSide_ALARM_SIDE_SHIP {
		return Ship
	}
	return Terminal
}

// Person is who did something.
type Person struct {
	By   string // name
	Role string // may be empty
	Side Side
}

// Acknowledgement is one side's.
type Acknowledgement struct {
	Person
	At   time.Time
	Note string
}

// notesKept is how many notes an alarm's state has, the newest. The log keeps all.
const notesKept = 20

// Note is what somebody wrote to an alarm.
type Note struct {
	Person
	At   time.Time
	Text string
}

// Hold keeps a subject's alarms quiet. They are recorded all the same.
type Hold struct {
	Subject // Condition is empty for all of a line
	Person
	Since  time.Time
	Until  time.Time // zero for what is out of service until put back
	Reason string
}

// Shelf reports whether the hold ends by itself.
func (h *Hold) Shelf() bool { return !h.Until.IsZero() }

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
	// Return is how it came back to normal.
	Return Return
	// Acknowledgements are one a side at most, in the order they came.
	Acknowledgements []Acknowledgement
	// Notes are the newest that were written to it, oldest first.
	Notes []Note
	// Level is how often the alarm was escalated.
	Level int
	// Called is when people were first called to it by the server's clock, or again
	// after it was held.
	Called time.Time
	// Hold keeps it quiet, nil for none.
	Hold *Hold
	// Suppressed keeps it quiet by design, nil for nothing. It stays when the alarm
	// clears.
	Suppressed *Suppression
	// CameBack is when, by the server's clock, one of those suppressed under this
	// alarm last cleared.
	CameBack time.Time

	journal uint64 // position of the readings that raised it, 0 for none
	lost    bool   // the journal has lost them
}

// Return is what was so when an alarm cleared, zero while it is active.
type Return struct {
	Recorded time.Time // when that went on record
	Detail   string    // one sentence; empty where a person said that it is over
}

// Active reports whether the alarm has been raised and not cleared.
func (s *State) Active() bool { return s.Cleared.IsZero() }

// Calls reports whether the alarm is to call people: it is active, and neither held
// nor suppressed.
func (s *State) Calls() bool { return s.Active() && s.Hold == nil && s.Suppressed == nil }

// Acknowledged is the first acknowledgement, nil for none.
func (s *State) Acknowledged() *Acknowledgement {
	if len(s.Acknowledgements) == 0 {
		return nil
	}
	return &s.Acknowledgements[0]
}

// acknowledgedBy is a side's acknowledgement, nil for none.
func (s *State) acknowledgedBy(side Side) *Acknowledgement {
	for i := range s.Acknowledgements {
		if s.Acknowledgements[i].Side == side {
			return &s.Acknowledgements[i]
		}
	}
	return nil
}

// Lifecycle is the alarm's state.
func (s *State) Lifecycle() Lifecycle {
	taken := s.Acknowledged() != nil
	switch {
	case !s.Active() && !taken && s.Priority <= detect.Alarm && s.Hold == nil && s.Suppressed == nil:
		return ReturnedUnacknowledged
	case !s.Active():
		return Normal
	case s.Hold != nil && s.Hold.Shelf():
		return Shelved
	case s.Hold != nil:
		return OutOfService
	case s.Suppressed != nil:
		return SuppressedByDesign
	case taken:
		return ActiveAcknowledged
	}
	return ActiveUnacknowledged
}
