package alarm

import (
	"cmp"
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"hawser/detect"
	hawserv1 "hawser/proto/hawser/v1"
)

// Transition is what a record says happened.
type Transition uint8

// The transitions, with the numbers of the schema.
const (
	Raised Transition = iota + 1
	Cleared
	Acknowledged
	Rewound // no alarm changed: the berth's journal went back to Record.Journal
	PutOnShelf
	TakenOutOfService
	HoldEnded
	Escalated    // nobody has acknowledged it in the time allowed
	Noted        // a person has written something to it
	Suppressed   // by design, under the alarm for its cause
	Unsuppressed // calls for itself from here on
)

// Subject is what an alarm is about. Berth is empty for the server itself, Line
// where only the group is known, Group where that is not known either. Source is
// whose readings it is about: of load pins that fell silent or still, who sent them
// last, empty where that is not one or not known.
type Subject struct {
	Berth, Condition, Line, Group, Source string
}

// key is the subject as far as it tells alarms apart: a line is in one group, and
// its own whoever sends it.
func (s Subject) key() Subject {
	if s.Line != "" {
		s.Group, s.Source = "", ""
	}
	return s
}

// Place is the line, else the group, else the source, else a dash.
func (s Subject) Place() string { return cmp.Or(s.Line, s.Group, s.Source, "-") }

// Measure is the number behind an alarm and what it is held against, in Unit.
type Measure struct {
	Value, Limit       float64
	HasValue, HasLimit bool
	Unit               string
}

// Record is one entry of the log.
type Record struct {
	Position   uint64 // in the alarm log, from 1
	ID         string // names the alarm from raise to clear
	Transition Transition
	Time       time.Time // event time of a raise or clear, else the server's
	Recorded   time.Time // when it was appended
	Subject
	Priority detect.Priority
	Onset    time.Time // zero where not known
	Measure
	Detail    string // one sentence for the deck
	Person           // who did it
	Note      string // why
	Until     time.Time
	Joint     string    // of a raise that waits, the condition that tells of many like it together
	Under     string    // of Suppressed, the alarm for the cause
	Quiet     bool      // suppressed by design: nobody was called
	Level     int       // how often the alarm has been escalated
	Lifecycle Lifecycle // after this record
	Journal   uint64    // journal position of the readings behind it, 0 for none
	Change    uint32    // index among the changes they made
}

// hold is what a record of the transitions that hold makes.
func (r *Record) hold() *Hold {
	return &Hold{Subject: r.Subject, Person: r.Person, Since: r.Time, Until: r.Until, Reason: r.Note}
}

// stamp is t on the wire, unset for the zero time.
func stamp(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

func unstamp(t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return time.Time{}
	}
	return t.AsTime()
}

func optional(v float64, ok bool) *float64 {
	if !ok {
		return nil
	}
	return &v
}

func measureOf(value, limit *float64, unit string) Measure {
	m := Measure{Unit: unit}
	if value != nil {
		m.Value, m.HasValue = *value, true
	}
	if limit != nil {
		m.Limit, m.HasLimit = *limit, true
	}
	return m
}

// Message is the record as its message.
func (r *Record) Message() *hawserv1.AlarmRecord {
	return &hawserv1.AlarmRecord{
		Position: r.Position, AlarmId: r.ID, Transition: hawserv1.AlarmTransition(r.Transition),
		Time: stamp(r.Time), RecordedAt: stamp(r.Recorded),
		Berth: r.Berth, Condition: r.Condition, Line: r.Line, Group: r.Group,
		Priority: hawserv1.AlarmPriority(r.Priority), Onset: stamp(r.Onset),
		Value: optional(r.Value, r.HasValue), Limit: optional(r.Limit, r.HasLimit), Unit: r.Unit,
		Detail: r.Detail, By: r.By, Note: r.Note, JournalPosition: r.Journal, ChangeIndex: r.Change,
		Role: r.Role, Side: hawserv1.AlarmSide(r.Side), Until: stamp(r.Until), Level: uint32(r.Level),
		Lifecycle: hawserv1.AlarmLifecycle(r.Lifecycle), Joint: r.Joint, Under: r.Under, Suppressed: r.Quiet, Source: r.Source,
	}
}

// encode is the record as the log keeps it.
func (r *Record) encode() ([]byte, error) {
	kept := *r
	kept.Position = 0
	return proto.MarshalOptions{Deterministic: true}.Marshal(kept.Message())
}

// decode reads what encode wrote.
func decode(position uint64, data []byte) (*Record, error) {
	var m hawserv1.AlarmRecord
	if err := proto.Unmarshal(data, &m); err != nil {
		return nil, fmt.Errorf("alarm record %d: %w", position, err)
	}
	t := Transition(m.Transition)
	if t < Raised || t > Unsuppressed || m.Priority < 0 || m.Priority > hawserv1.AlarmPriority(detect.Caution) {
		return nil, fmt.Errorf("alarm record %d: transition %d with priority %d is not one this version knows", position, m.Transition, m.Priority)
	}
	return &Record{
		Position: position, ID: m.AlarmId, Transition: t,
		Time: unstamp(m.Time), Recorded: unstamp(m.RecordedAt),
		Subject:  Subject{Berth: m.Berth, Condition: m.Condition, Line: m.Line, Group: m.Group, Source: m.Source},
		Priority: detect.Priority(m.Priority), Onset: unstamp(m.Onset),
		Measure: measureOf(m.Value, m.Limit, m.Unit),
		Detail:  m.Detail, Person: personOf(&m), Note: m.Note, Until: unstamp(m.Until), Level: int(m.Level),
		Joint: jointOf(&m), Under: m.Under, Quiet: m.Suppressed,
		Lifecycle: Lifecycle(m.Lifecycle), Journal: m.JournalPosition, Change: m.ChangeIndex,
	}, nil
}

// jointOf is the condition that tells of many like a raise that waits: records from
// before there were others know of silence only.
func jointOf(m *hawserv1.AlarmRecord) string {
	if m.Joint == "" && m.Transition == hawserv1.AlarmTransition_ALARM_TRANSITION_RAISED && m.Until != nil {
		return PinsSilent
	}
	return m.Joint
}

// personOf is who did what a record says; nobody where it was the server.
func personOf(m *hawserv1.AlarmRecord) Person {
	if m.By == "" {
		return Person{}
	}
	return Person{By: m.By, Role: m.Role, Side: sideOf(m.Side)}
}
