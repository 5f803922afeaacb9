package alarm

import (
	"cmp"
	"slices"

	"hawser/detect"
)

// OldestFirst puts alarms in the order in which they were raised, those of one
// instant in the one order that they have everywhere.
func OldestFirst(all []State) {
	order := atOnce()
	slices.SortFunc(all, func(a, b State) int { return cmp.Or(a.Raised.Compare(b.Raised), order(&a, &b)) })
}

// NewestFirst is OldestFirst with the last instant first.
func NewestFirst(all []State) {
	order := atOnce()
	slices.SortFunc(all, func(a, b State) int { return cmp.Or(b.Raised.Compare(a.Raised), order(&a, &b)) })
}

// atOnce orders alarms of one instant: by priority, by urgency, by what they are on.
func atOnce() func(a, b *State) int {
	urgent := urgency()
	return func(a, b *State) int {
		return cmp.Or(cmp.Compare(a.Priority, b.Priority), urgent(a, b), place(a, b))
	}
}

// worse orders active alarms: those that are held or suppressed last, by priority, those nobody
// has taken on first, by urgency, newest first, by what they are on.
func worse() func(a, b *State) int {
	urgent := urgency()
	number := func(yes bool) int {
		if yes {
			return 1
		}
		return 0
	}
	return func(a, b *State) int {
		return cmp.Or(
			cmp.Compare(number(!a.Calls()), number(!b.Calls())),
			cmp.Compare(a.Priority, b.Priority),
			cmp.Compare(number(a.Acknowledged() != nil), number(b.Acknowledged() != nil)),
			urgent(a, b),
			b.Raised.Compare(a.Raised),
			place(a, b),
		)
	}
}

// urgency orders alarms as the detectors' list does their conditions, the server's own
// after them.
func urgency() func(a, b *State) int {
	known := detect.Conditions()
	of := make(map[string]int, len(known))
	for i, c := range known {
		of[c.String()] = i - len(known) // under the 0 of those not listed
	}
	return func(a, b *State) int { return cmp.Compare(of[a.Condition], of[b.Condition]) }
}

// place orders alarms by what they are on, and by id where that is the same.
func place(a, b *State) int {
	return cmp.Or(cmp.Compare(a.Berth, b.Berth), cmp.Compare(a.Condition, b.Condition), numbered(a.Line, b.Line),
		cmp.Compare(a.Group, b.Group), cmp.Compare(a.Source, b.Source), cmp.Compare(a.ID, b.ID))
}

// numbered orders lines by their numbers: 2 before 10.
func numbered(a, b string) int { return cmp.Or(cmp.Compare(len(a), len(b)), cmp.Compare(a, b)) }
