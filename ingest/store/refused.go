package store

import (
	"fmt"
	"strings"
	"time"

	"hawser/detect/reading"
)

// Reason is why a reading was refused for good.
type Reason uint8

const (
	// TooOld is a reading from before the span in which late ones are taken.
	TooOld Reason = iota
	// TooNew is a reading from further ahead of the clock than is believed.
	TooNew
	// Conflict is a second, different reading of a channel for the same time.
	Conflict
	// Unnamed is a reading whose berth or channel cannot be a name.
	Unnamed
	// Rejected is a reading that the server would not take.
	Rejected
	reasons
)

var reasonNames = [reasons]string{
	TooOld: "too old", TooNew: "too new", Conflict: "conflict", Unnamed: "unnamed", Rejected: "rejected",
}

// String is the reason in words.
func (r Reason) String() string { return reasonNames[r] }

// Reasons lists every reason.
func Reasons() []Reason { return []Reason{TooOld, TooNew, Conflict, Unnamed, Rejected} }

// Refused tells of readings that are not stored and never will be; everything
// else of the call is stored. It is an error because losing readings must not
// go unseen, and it is no reason to try again.
type Refused struct {
	// Count is the number of readings by Reason.
	Count [reasons]int
	// First is the place of the first of them.
	First string
	// Err is the server's own words, if it had any.
	Err error
}

// Error counts by reason and names the first place.
func (r *Refused) Error() string {
	var b strings.Builder
	b.WriteString("readings refused:")
	sep := " "
	for _, reason := range Reasons() {
		if n := r.Count[reason]; n > 0 {
			fmt.Fprintf(&b, "%s%d %s", sep, n, reason)
			sep = ", "
		}
	}
	if r.First != "" {
		b.WriteString("; first: " + r.First)
	}
	if r.Err != nil {
		b.WriteString(": " + r.Err.Error())
	}
	return b.String()
}

// Unwrap is the server's error, if any.
func (r *Refused) Unwrap() error { return r.Err }

// Total is the number of readings refused.
func (r *Refused) Total() int {
	total := 0
	for _, n := range r.Count {
		total += n
	}
	return total
}

// Add counts n readings of a channel, the first of them at t in Unix nanoseconds.
func (r *Refused) Add(reason Reason, n int, berth string, c reading.Channel, t int64) {
	r.Count[reason] += n
	if r.First == "" {
		r.First = fmt.Sprintf("berth %.80q: %.80q at %s", berth, c.String(), time.Unix(0, t).UTC().Format(time.RFC3339Nano))
	}
}

// AsError is r when it counts anything and nil when not.
func (r *Refused) AsError() error {
	if r.Total() == 0 {
		return nil
	}
	return r
}

// Unavailable is an error of a store that is down or overloaded and has said
// when to come back.
type Unavailable struct {
	// After is how long to wait before the next try; 0 is not said.
	After time.Duration
	Err   error
}

// Error is the cause's text.
func (u *Unavailable) Error() string { return "store unavailable: " + u.Err.Error() }

// Unwrap is the cause.
func (u *Unavailable) Unwrap() error { return u.Err }
