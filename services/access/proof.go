package access

import (
	"slices"
	"time"
)

// Caller is who makes a call and what they may do.
type Caller struct {
	Name string
	// Subject is the issuer's own name for who has a token of theirs.
	Subject string
	// Kind is how they showed who they are: byToken, byIssuer or byDevice.
	Kind   string
	Grants []Grant
	// Berths are those that a device's certificate is bound to.
	Berths []string
	// Until is when what they showed stops counting; zero is never.
	Until time.Time
	// key tells callers apart where their use of the server is counted.
	key string
}

// Kinds of callers, as the audit log has them.
const (
	byToken  = "token"
	byIssuer = "issuer"
	byDevice = "device"
)

// proof is what somebody has shown of who they are, checked once. What it is
// worth is asked of the roll in force, each time: a token taken off the roll is
// worth nothing from then on.
type proof interface {
	// caller is whom the proof is of, or an error for whoever showed it.
	caller(r *roll, now time.Time) (*Caller, error)
}

// same reports whether two callers may do the same.
func (c *Caller) same(other *Caller) bool {
	return c.Name == other.Name && c.Until.Equal(other.Until) &&
		slices.Equal(c.Grants, other.Grants) && slices.Equal(c.Berths, other.Berths)
}

// tokenProof is a token of our own.
type tokenProof struct{ hash Hash }

func (p tokenProof) caller(r *roll, now time.Time) (*Caller, error) {
	var found *person
	for i := range r.people { // all of them, so that how long it takes says nothing
		if r.people[i].hash.equal(p.hash) {
			found = &r.people[i]
		}
	}
	switch {
	case found == nil:
		return nil, refuse(notSignedIn, "the token is not known here")
	case !found.expires.IsZero() && !now.Before(found.expires):
		return nil, refuse(notSignedIn, "the token of %s has expired", found.name)
	}
	return &Caller{Name: found.name, Kind: byToken, Grants: found.grants, Until: found.expires, key: "token " + found.name}, nil
}

// claimsProof is a token of the issuer, by what it says.
type claimsProof struct {
	issuer, subject, name string
	groups                []string
	expires               time.Time
}

func (p claimsProof) caller(r *roll, now time.Time) (*Caller, error) {
	switch {
	case r.issuer == nil || r.issuer.provider.url != p.issuer:
		return nil, refuse(notSignedIn, "tokens of an issuer are not taken here")
	case !now.Before(p.expires):
		return nil, refuse(notSignedIn, "the token of %s has expired", p.name)
	}
	c := &Caller{Name: p.name, Subject: p.subject, Kind: byIssuer, Until: p.expires, key: "issuer " + p.subject}
	for _, g := range r.issuer.grants {
		if slices.Contains(p.groups, g.group) {
			c.Grants = append(c.Grants, g.Grant)
		}
	}
	return c, nil
}
