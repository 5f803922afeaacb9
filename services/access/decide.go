package access

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"
)

// decide says by which grant a caller may make a call about something, the zero
// one for a device, or gives a refusal that names the place.
func (g *Guard) decide(c *Caller, r rule, a about) (Grant, error) {
	if c.Kind == byDevice {
		return g.decideDevice(c, r, a)
	}
	need := max(r.role, a.role)
	switch {
	case a.alarm != "":
		return g.decideAlarm(c, need, a.alarm)
	case a.site:
		for _, grant := range c.Grants {
			if grant.Role >= need && grant.Site {
				return grant, nil
			}
		}
		return Grant{}, refuse(notAllowed, "%s has not the role %s over the whole site", c.Name, need)
	case a.berth == "":
		for _, grant := range c.Grants {
			if grant.Role >= need {
				return grant, nil
			}
		}
		return Grant{}, refuse(notAllowed, "%s has not the role %s", c.Name, need)
	}
	for _, grant := range c.Grants {
		if _, ok := grant.covers(g.o.Stays, a.berth); ok && grant.Role >= need {
			return grant, nil
		}
	}
	return Grant{}, refuse(notAllowed, "berth %s: %s has not the role %s there", a.berth, c.Name, need)
}

// decideAlarm is for an alarm by its id: one of the server's own is the whole
// site's, and one that nobody knows is nobody's but theirs.
func (g *Guard) decideAlarm(c *Caller, need Role, id string) (Grant, error) {
	berth, recorded, known := g.o.Alarms.Alarm(id)
	for _, grant := range c.Grants {
		if grant.Role < need {
			continue
		}
		since, ok := grant.covers(g.o.Stays, berth)
		if grant.Site || known && berth != "" && ok && !recorded.Before(since) {
			return grant, nil
		}
	}
	return Grant{}, refuse(notAllowed, "alarm %s: %s has not the role %s for it", id, c.Name, need)
}

func (g *Guard) decideDevice(c *Caller, r rule, a about) (Grant, error) {
	switch {
	case !r.device:
		return Grant{}, refuse(notAllowed, "device %s may send readings and nothing else", c.Name)
	case len(c.Berths) == 0:
		return Grant{}, refuse(notAllowed, "berth %s: the certificate of device %s is bound to no berth", a.berth, c.Name)
	case a.role > Nobody:
		return Grant{}, refuse(notAllowed, "berth %s: device %s may not replace the mooring plan; that takes a person's token with the role %s", a.berth, c.Name, a.role)
	case !slices.Contains(c.Berths, a.berth):
		return Grant{}, refuse(notAllowed, "berth %s: the certificate of device %s is bound to %s", a.berth, c.Name, strings.Join(c.Berths, ", "))
	}
	return Grant{}, nil
}

// May reports whether the caller would be let in with a request, by the pattern of
// its route, whose path, query or form has these values. It goes by the rule that
// the request itself would be judged by.
func (g *Guard) May(ctx context.Context, pattern string, values url.Values) bool {
	r, ok := g.rules[pattern]
	if !ok || r.open {
		return r.open
	}
	c := callerOf(ctx)
	if c == nil {
		return false
	}
	var a about
	if r.request != nil {
		req := &http.Request{URL: &url.URL{RawQuery: values.Encode()}, Form: values, PostForm: values}
		for name := range values {
			req.SetPathValue(name, values.Get(name))
		}
		var err error
		if a, err = r.request(req); err != nil {
			return false
		}
	}
	_, err := g.decide(c, r, a)
	return err == nil
}

// Sees reports whether the caller may see a berth, or what is the server's own
// for "", and since when. Where nobody has been let in, nobody sees anything.
func (g *Guard) Sees(ctx context.Context, berth string) (since time.Time, ok bool) {
	c := callerOf(ctx)
	if c == nil {
		return time.Time{}, false
	}
	for _, grant := range c.Grants {
		from, covered := grant.covers(g.o.Stays, berth)
		if covered && (!ok || from.Before(since)) {
			since, ok = from, true
		}
	}
	return since, ok
}

// SeesShip reports whether the caller may see a berth while this ship is there:
// a picture may still be of the ship before.
func (g *Guard) SeesShip(ctx context.Context, berth, ship string) bool {
	c := callerOf(ctx)
	if c == nil {
		return false
	}
	for _, grant := range c.Grants {
		if _, ok := grant.covers(g.o.Stays, berth); ok && (grant.Ship == "" || grant.Ship == ship) {
			return true
		}
	}
	return false
}

// SeesStay reports whether the caller may see what a ship did at a berth, now or
// once: a ship's crew may see her own stays wherever they were.
func (g *Guard) SeesStay(ctx context.Context, berth, ship string) bool {
	c := callerOf(ctx)
	return c != nil && slices.ContainsFunc(c.Grants, func(grant Grant) bool {
		if grant.Ship != "" {
			return grant.Ship == ship
		}
		return grant.Site || grant.Berth == berth
	})
}

// SeesSite reports whether the caller may see all there is.
func (g *Guard) SeesSite(ctx context.Context) bool {
	c := callerOf(ctx)
	return c != nil && slices.ContainsFunc(c.Grants, func(grant Grant) bool { return grant.Site })
}

// Standing sums up what the caller may do, "" where nobody has been let in: it is
// another once they may do something else.
func (g *Guard) Standing(ctx context.Context) string {
	if c := callerOf(ctx); c != nil {
		return scopes(c.Grants)
	}
	return ""
}

// Who is the caller's name, "" where nobody has been let in.
func (g *Guard) Who(ctx context.Context) string {
	if c := callerOf(ctx); c != nil {
		return c.Name
	}
	return ""
}

// Signed is what goes on record for a caller who gives by as their name: a crew
// may share a token, so both names are told. Role and side are those of the grant
// that let the call in.
func (g *Guard) Signed(ctx context.Context, by string) (name, role string, ship bool) {
	by = strings.TrimSpace(by)
	c := callOf(ctx)
	if c == nil {
		return by, "", false
	}
	name = c.caller.Name
	if by != "" && by != name {
		name = by + " (" + name + ")"
	}
	return name, c.grant.Role.String(), c.grant.Ship != ""
}
