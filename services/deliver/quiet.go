package deliver

import (
	"fmt"
	"time"
)

// Quiet are the hours of a day in which a destination wants emergencies only. To
// one that is told the present state, what is still active afterwards is told
// then. To a webhook the changes within them are passed over; they are on record.
type Quiet struct {
	from, to int // minutes of the day; over midnight where from is later
	zone     *time.Location
}

// NewQuiet takes times as 22:00 and 06:30 and an IANA time zone, "" for UTC. The
// hours are those of the clock on the wall there, whatever its summer time does.
func NewQuiet(from, to, zone string) (*Quiet, error) {
	q := Quiet{zone: time.UTC}
	var err error
	if q.from, err = minuteOfDay(from); err != nil {
		return nil, fmt.Errorf("from: %w", err)
	}
	if q.to, err = minuteOfDay(to); err != nil {
		return nil, fmt.Errorf("to: %w", err)
	}
	if q.from == q.to {
		return nil, fmt.Errorf("from and to are both %s", from)
	}
	if q.zone, err = time.LoadLocation(zone); err != nil {
		return nil, fmt.Errorf("zone: %w", err)
	}
	return &q, nil
}

func minuteOfDay(s string) (int, error) {
	t, err := time.Parse("15:04", s)
	if err != nil {
		return 0, fmt.Errorf("%q is no time of day such as 22:00", s)
	}
	return 60*t.Hour() + t.Minute(), nil
}

// at reports whether it is quiet; it never is for nil.
func (q *Quiet) at(now time.Time) bool {
	if q == nil {
		return false
	}
	hour, minute, _ := now.In(q.zone).Clock()
	m := 60*hour + minute
	if q.from < q.to {
		return q.from <= m && m < q.to
	}
	return m >= q.from || m < q.to
}
