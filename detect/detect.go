// Package detect finds what is wrong with a mooring from its telemetry. It is
// pure: a function of the plan and the ordered readings, with event time for
// its only clock and memory bounded by the plan. The same readings give the
// same changes, byte for byte, however they are cut into blocks, live, in
// replay and after a restart from a snapshot.
//
//	blocks ─► feed (orders by event time) ─► tick, 100 ms ─► detectors ─► arbiter ─► changes
//
// What the detectors of a tick share:
//
//	motion fit   position of the ship and expected load of each line, from all loads
//	predictor    errors of the predicted position, 2 to 12 s ahead: forces not measured
//	innovations  the same half a second ahead, whitened: forces that begin suddenly
//	record       position and known forces over the last minutes
package detect

import (
	"time"

	"hawser/detect/mooring"
)

// Condition is something that can be wrong.
type Condition uint8

// The conditions, in order of urgency within a priority.
const (
	LineParted Condition = iota + 1
	OverLimit
	BrakeSlip
	Redistribution
	SnapLoad
	ApproachingLimit
	Imbalance
	SlackLine
	SensorFault
	conditions
)

var conditionNames = [conditions]string{
	LineParted: "line-parted", OverLimit: "over-limit", BrakeSlip: "brake-slip",
	Redistribution: "redistribution", SnapLoad: "snap-load", ApproachingLimit: "approaching-limit",
	Imbalance: "imbalance", SlackLine: "slack-line", SensorFault: "sensor-fault",
}

// String is the condition's name in recordings and alarms.
func (c Condition) String() string {
	if c == 0 || c >= conditions {
		return "unknown"
	}
	return conditionNames[c]
}

// Conditions lists every condition.
func Conditions() []Condition {
	out := make([]Condition, 0, conditions-1)
	for c := Condition(1); c < conditions; c++ {
		out = append(out, c)
	}
	return out
}

// Priority follows the alert terms of IMO A.1021(26) cl. 3.1, highest first.
type Priority uint8

const (
	Emergency Priority = iota + 1
	Alarm
	Warning
	Caution
)

var priorityNames = [...]string{Emergency: "emergency", Alarm: "alarm", Warning: "warning", Caution: "caution"}

// String is the priority's name.
func (p Priority) String() string {
	if p == 0 || int(p) >= len(priorityNames) {
		return "unknown"
	}
	return priorityNames[p]
}

// Priority is the condition's priority.
func (c Condition) Priority() Priority {
	switch c {
	case LineParted:
		return Emergency
	case OverLimit, BrakeSlip, Redistribution, SnapLoad:
		return Alarm
	case ApproachingLimit, Imbalance, SlackLine:
		return Warning
	default:
		return Caution
	}
}

// Change is one condition raised or cleared.
type Change struct {
	// Time is the event time at which the condition was raised or cleared, Unix
	// nanoseconds; not the onset.
	Time int64
	// Onset is when it began, Unix nanoseconds, or 0 where not known.
	Onset     int64
	Condition Condition
	By        Measure // what it was raised by; Unmeasured where cleared
	Raised    bool    // else cleared
	// Line is empty where only the group is known.
	Line  string
	Group mooring.Group // 0 where not known
	Value float64       // in Unit
	// Limit is the limit for Value, in Unit; HasLimit is false where there is none.
	Limit    float64
	HasLimit bool
	Unit     string
	// Detail is one sentence a deck officer can act on.
	Detail string
}

// When is the change's time.
func (c *Change) When() time.Time { return time.Unix(0, c.Time).UTC() }

// Oddities counts readings that the detectors did not use.
type Oddities struct {
	Late      uint64 // behind the watermark, or marked so by the source
	Duplicate uint64 // at a time the channel already has
	Unknown   uint64 // of a line the plan does not have
	Bad       uint64 // no number
	Overflow  uint64 // pushed out of a full buffer before their time
}
