package access

import (
	"strings"
	"time"
)

// Grant gives a role over a part of the site: all of it, one berth, or wherever
// one ship lies, for as long as she lies there.
type Grant struct {
	Role  Role
	Site  bool
	Berth string
	Ship  string // as her mooring plan names her
}

// Over says what the grant is over, as in "berth east-3".
func (g Grant) Over() string {
	switch {
	case g.Site:
		return "site"
	case g.Berth != "":
		return "berth " + g.Berth
	}
	return "ship " + g.Ship
}

func (g Grant) String() string { return g.Role.String() + ", " + g.Over() }

// Stays says which ship lies at a berth by the plan in force there, and since
// when. Safe for concurrent use.
type Stays interface {
	Stay(berth string) (ship string, since time.Time, ok bool)
}

// covers reports whether a grant reaches a berth, and since when: zero is always.
// The berth "" is the server itself: it concerns every berth, but no ship.
func (g Grant) covers(stays Stays, berth string) (since time.Time, ok bool) {
	switch {
	case g.Site:
		return time.Time{}, true
	case g.Berth != "":
		return time.Time{}, berth == g.Berth || berth == ""
	case berth == "":
		return time.Time{}, false
	}
	ship, since, ok := stays.Stay(berth)
	return since, ok && ship == g.Ship
}

// scopes lists what grants are over, for a log.
func scopes(grants []Grant) string {
	parts := make([]string, len(grants))
	for i, g := range grants {
		parts[i] = g.String()
	}
	return strings.Join(parts, "; ")
}
