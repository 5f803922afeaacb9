package web

import (
	"cmp"
	"context"
	"math"
	"slices"
	"time"

	"hawser/services/alarm"
)

const (
	// recent is how many alarms are told that are over, of each kind.
	recent = 20
	// mostAlarms bounds the active ones told; the worst are among them.
	mostAlarms = 200
	// mostSuppressed bounds those told that are suppressed under another: all the
	// lines of twenty berths.
	mostSuppressed = 400
)

// alarmsWire is the alarm list.
type alarmsWire struct {
	// List has the active ones, worst first, then those that are over: first those that
	// nobody has acknowledged, by priority, the newest of each first.
	List  []alarmWire `json:"list"`
	Holds []holdWire  `json:"holds"`
	// More are active ones over mostAlarms.
	More int `json:"more,omitempty"`
	// MoreReturned are over that nobody has acknowledged, beyond those of List.
	MoreReturned int `json:"more_returned,omitempty"`
}

// alarmWire is one alarm.
type alarmWire struct {
	ID        string `json:"id"`
	Berth     string `json:"berth,omitempty"` // left out for the server's own
	Condition string `json:"condition"`
	Line      string `json:"line,omitempty"`
	Group     string `json:"group,omitempty"`
	Source    string `json:"source,omitempty"` // whose readings it is about
	Priority  string `json:"priority"`
	// State is that of ISA-18.2: active-unacknowledged, active-acknowledged,
	// returned-unacknowledged, normal, shelved, out-of-service or
	// suppressed-by-design.
	State    string     `json:"state"`
	Raised   int64      `json:"raised"`   // by its source's clock
	Recorded int64      `json:"recorded"` // by the server's
	Onset    int64      `json:"onset,omitempty"`
	Cleared  int64      `json:"cleared,omitempty"`
	Returned int64      `json:"returned,omitempty"` // when it cleared by the server's clock
	Value    number     `json:"value,omitzero"`
	Limit    number     `json:"limit,omitzero"`
	Unit     string     `json:"unit,omitempty"`
	Detail   string     `json:"detail,omitempty"` // en-GB, as recorded: what was so when it was raised
	Over     string     `json:"over,omitempty"`   // and when it cleared
	Acks     []ackWire  `json:"acks,omitempty"`
	Level    int        `json:"level,omitempty"` // how often escalated
	Held     *holdWire  `json:"held,omitempty"`
	Under    string     `json:"under,omitempty"` // the alarm for its cause, where it is suppressed
	Notes    []noteWire `json:"notes,omitempty"`
	// May are the deeds that the caller may do about it, where one signs in.
	May []string `json:"may,omitempty"`
}

type ackWire struct {
	Side string `json:"side"`
	By   string `json:"by"`
	Role string `json:"role,omitempty"`
	At   int64  `json:"at"`
	Note string `json:"note,omitempty"`
}

// noteWire is what somebody wrote to an alarm.
type noteWire struct {
	Side string `json:"side"`
	By   string `json:"by"`
	At   int64  `json:"at"`
	Text string `json:"text"`
}

// holdWire is what keeps a subject quiet.
type holdWire struct {
	Berth     string `json:"berth,omitempty"`
	Condition string `json:"condition,omitempty"` // left out for all of a line
	Line      string `json:"line,omitempty"`
	Group     string `json:"group,omitempty"`
	Source    string `json:"source,omitempty"`
	Since     int64  `json:"since"`
	Until     int64  `json:"until,omitempty"` // left out for what is out of service
	By        string `json:"by"`
	Side      string `json:"side"`
	Reason    string `json:"reason,omitempty"`
	// May are the deeds that the caller may do about it, where one signs in.
	May []string `json:"may,omitempty"`
}

// alarmsOf gives the alarms of a berth and the server's own, or all for "", as far
// as the caller may see them.
func (s *Site) alarmsOf(ctx context.Context, berth string) *alarmsWire {
	log, _ := s.o.Alarms.List("", true)
	all := alarm.Seen(ctx, s.o.Access, log)
	slices.SortStableFunc(all, func(a, b alarm.State) int { return cmp.Compare(place(&a), place(&b)) })
	w := &alarmsWire{List: []alarmWire{}, Holds: []holdWire{}}
	active, suppressed, returned, over := 0, 0, 0, 0
	for _, a := range all {
		if berth != "" && a.Berth != "" && a.Berth != berth {
			continue
		}
		count, most := &over, recent
		switch {
		case a.Lifecycle() == alarm.SuppressedByDesign:
			count, most = &suppressed, mostSuppressed
		case a.Active():
			count, most = &active, mostAlarms
		case a.Lifecycle() == alarm.ReturnedUnacknowledged:
			count = &returned
		}
		if *count++; *count <= most {
			wire := wireAlarm(&a)
			wire.May = s.may(ctx, a.ID, alarm.Subject{Berth: a.Berth, Line: a.Line})
			w.List = append(w.List, wire)
		}
	}
	w.More, w.MoreReturned = max(0, active-mostAlarms), max(0, returned-recent)
	for _, h := range alarm.SeenHolds(ctx, s.o.Access, s.o.Alarms.Holds(berth)) {
		wire := wireHold(&h)
		wire.May = s.may(ctx, "", h.Subject)
		w.Holds = append(w.Holds, wire)
	}
	return w
}

// place of an alarm in the list beside others: what is active stays as the log has it.
func place(a *alarm.State) int {
	switch {
	case a.Active():
		return 0
	case a.Lifecycle() == alarm.ReturnedUnacknowledged:
		return 1 + int(a.Priority)
	}
	return math.MaxInt
}

func wireAlarm(a *alarm.State) alarmWire {
	w := alarmWire{ID: a.ID, Berth: a.Berth, Condition: a.Condition, Line: a.Line, Group: a.Group, Source: a.Source, Priority: a.Priority.String(),
		State: stateName(a.Lifecycle()), Raised: millis(a.Raised), Recorded: millis(a.Recorded), Onset: millis(a.Onset), Cleared: millis(a.Cleared),
		Unit: a.Unit, Detail: a.Detail, Returned: millis(a.Return.Recorded), Over: a.Return.Detail, Level: a.Level}
	if a.HasValue {
		w.Value = to(3, &a.Value)
	}
	if a.HasLimit {
		w.Limit = to(3, &a.Limit)
	}
	for _, k := range a.Acknowledgements {
		w.Acks = append(w.Acks, ackWire{k.Side.String(), k.By, k.Role, millis(k.At), k.Note})
	}
	for _, n := range a.Notes {
		w.Notes = append(w.Notes, noteWire{n.Side.String(), n.By, millis(n.At), n.Text})
	}
	if a.Suppressed != nil {
		w.Under = a.Suppressed.Under
	}
	if a.Hold != nil {
		h := wireHold(a.Hold)
		w.Held = &h
	}
	return w
}

func wireHold(h *alarm.Hold) holdWire {
	return holdWire{h.Berth, h.Condition, h.Line, h.Group, h.Source, millis(h.Since), millis(h.Until), h.By, h.Side.String(), h.Reason, nil}
}

// stateName is a state of the lifecycle in the words of the wire.
func stateName(l alarm.Lifecycle) string {
	switch l {
	case alarm.ActiveUnacknowledged:
		return "active-unacknowledged"
	case alarm.ActiveAcknowledged:
		return "active-acknowledged"
	case alarm.ReturnedUnacknowledged:
		return "returned-unacknowledged"
	case alarm.Shelved:
		return "shelved"
	case alarm.OutOfService:
		return "out-of-service"
	case alarm.SuppressedByDesign:
		return "suppressed-by-design"
	}
	return "normal"
}

// millis is a time as Unix milliseconds, 0 for none.
func millis(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixMilli()
}
