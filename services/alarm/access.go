package alarm

import (
	"context"
	"slices"
	"time"
)

// Access says what the caller of a call may see, and who that is. It finds the
// caller in the call's context.
type Access interface {
	// Sees reports whether the caller may see a berth, or the server's own alarms
	// for "", and since when: what went on record before is not for them.
	Sees(ctx context.Context, berth string) (since time.Time, ok bool)
	// Signed is what goes on record where the caller gives by as their name: who they
	// are, by which role they may do what they do, and whether for the ship.
	Signed(ctx context.Context, by string) (name, role string, ship bool)
}

// Seen keeps those alarms that the caller may see, all where access is nil.
func Seen(ctx context.Context, access Access, alarms []State) []State {
	if access == nil {
		return alarms
	}
	seen := alarms[:0]
	for _, s := range alarms {
		if since, ok := access.Sees(ctx, s.Berth); ok && !s.Recorded.Before(since) {
			seen = append(seen, s)
		}
	}
	return seen
}

// SeenHolds keeps those holds that the caller may see, all where access is nil.
func SeenHolds(ctx context.Context, access Access, holds []Hold) []Hold {
	if access == nil {
		return holds
	}
	return slices.DeleteFunc(holds, func(h Hold) bool {
		since, ok := access.Sees(ctx, h.Berth)
		return !ok || h.Since.Before(since)
	})
}

// Sign is who goes on record where the caller says they are p. Role and side are
// not theirs to say, except where access is nil.
func Sign(ctx context.Context, access Access, p Person) Person {
	if access == nil {
		return p
	}
	name, role, ship := access.Signed(ctx, p.By)
	p = Person{By: name, Role: role, Side: Terminal}
	if ship {
		p.Side = Ship
	}
	return p
}

// seen reports whether the caller may see a record: it belongs with the raise of
// its alarm, as far as that is still in memory.
func (s *Service) seen(ctx context.Context, r *Record) bool {
	if s.access == nil {
		return true
	}
	since, ok := s.access.Sees(ctx, r.Berth)
	if !ok {
		return false
	}
	recorded := r.Recorded
	if state, known := s.log.Find(r.ID); known {
		recorded = state.Recorded
	}
	return !recorded.Before(since)
}
