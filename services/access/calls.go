package access

import (
	"context"
	"strings"
	"sync"
	"time"
)

// call is one that has been let in and is under way.
type call struct {
	g      *Guard
	rule   rule
	e      entry
	proof  proof
	caller *Caller
	grant  Grant // that let it in, once it has; zero for a device
	share  *share
	end    context.CancelCauseFunc
	done   func()
}

type callKey struct{}

// callOf is the call that a context is of, nil where nobody has been let in.
func callOf(ctx context.Context) *call {
	c, _ := ctx.Value(callKey{}).(*call)
	return c
}

// callerOf is who makes it.
func callerOf(ctx context.Context) *Caller {
	if c := callOf(ctx); c != nil {
		return c.caller
	}
	return nil
}

// calls are those under way. A call ends when what its caller showed is worth
// nothing any more, or something else: who watches alarms for a week must not
// outlive their token.
type calls struct {
	mu   sync.Mutex
	open map[*call]struct{}
}

// recheck ends the calls whose callers may not do what they might when they were
// let in.
func (c *calls) recheck(r *roll, now time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for call := range c.open {
		caller, err := call.proof.caller(r, now)
		switch {
		case err != nil:
			call.end(err)
		case !caller.same(call.caller):
			call.end(refuse(notSignedIn, "what %s may do has changed: call again", caller.Name))
		}
	}
}

// shown is what a call shows of who makes it.
type shown struct {
	authorization []string // as it was given; once at most
	session       string   // value of the cookie
	device        *deviceProof
	from          string // address
}

// proof checks what a call shows: a token goes before a session, a session before
// a certificate.
func (g *Guard) proof(ctx context.Context, s shown) (proof, error) {
	switch {
	case len(s.authorization) > 1:
		return nil, refuse(notSignedIn, "more than one authorization is given")
	case len(s.authorization) == 1:
		token, ok := bearer(s.authorization[0])
		if !ok {
			return nil, refuse(notSignedIn, "the authorization is not a bearer token")
		}
		return g.proofOfToken(ctx, token)
	case s.session != "":
		return g.sessions.find(s.session)
	case s.device != nil:
		return *s.device, nil
	}
	return nil, refuse(notSignedIn, "a token or a device's certificate is needed")
}

// bearer takes the token out of an authorization (RFC 6750, 2.1).
func bearer(authorization string) (string, bool) {
	scheme, token, ok := strings.Cut(authorization, " ")
	token = strings.TrimSpace(token)
	return token, ok && strings.EqualFold(scheme, "Bearer") && token != ""
}

// maxToken bounds a token, bytes.
const maxToken = 8 << 10

func (g *Guard) proofOfToken(ctx context.Context, token string) (proof, error) {
	if len(token) > maxToken {
		return nil, refuse(notSignedIn, "the token is too long")
	}
	if isOurs(token) {
		hash, ok := hashToken(token)
		if !ok {
			return nil, refuse(notSignedIn, "the token is cut off or changed")
		}
		return tokenProof{hash}, nil
	}
	issuer := g.roll().issuer
	if issuer == nil {
		return nil, refuse(notSignedIn, "the token is not known here")
	}
	return issuer.verify(ctx, token)
}

// begin finds out who makes a call and takes it into their share. The context it
// gives is the call's from then on. Of a refusal all is said and counted.
func (g *Guard) begin(ctx context.Context, what string, r rule, s shown) (context.Context, *call, error) {
	c := &call{g: g, rule: r, e: entry{what: what, from: s.from}}
	p, err := g.proof(ctx, s)
	if err != nil {
		return ctx, nil, g.turnAway(c.e, err)
	}
	c.proof = p
	ctx, c.end = context.WithCancelCause(ctx)
	if err := g.calls.enter(c, g); err != nil {
		c.end(nil)
		return ctx, nil, g.turnAway(c.e, err)
	}
	cancel := func() {}
	if until := c.caller.Until; !until.IsZero() {
		ctx, cancel = context.WithDeadlineCause(ctx, until, refuse(notSignedIn, "what %s showed has expired: sign in again", c.caller.Name))
	}
	leave := c.done
	c.done = func() {
		cancel()
		c.end(nil)
		leave()
	}
	return context.WithValue(ctx, callKey{}, c), c, nil
}

// enter settles who a call's caller is and counts the call, as one step: a change
// of the roll finds it among the open ones or was before it.
func (c *calls) enter(call *call, g *Guard) (err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if call.caller, err = call.proof.caller(g.roll(), g.o.Now()); err != nil {
		return err
	}
	call.e.of(call.caller)
	share, leave, err := g.shares.begin(call.caller.key)
	if err != nil {
		return err
	}
	call.share = share
	c.open[call] = struct{}{}
	call.done = func() {
		c.mu.Lock()
		delete(c.open, call)
		c.mu.Unlock()
		leave()
	}
	return nil
}

// admit decides about a call once it is known what it is about.
func (c *call) admit(a about, size int) error {
	c.e.about = a
	if most := c.rule.most(); size > most {
		return c.g.turnAway(c.e, refuse(tooMuch, "%d bytes in one message, at most %d", size, most))
	}
	grant, err := c.g.decide(c.caller, c.rule, a)
	if err != nil {
		return c.g.turnAway(c.e, err)
	}
	c.grant, c.e.role = grant, grant.Role.String()
	if c.caller.Kind == byDevice {
		c.e.role = "device"
	}
	c.g.m.allowed.Inc()
	return nil
}

// still is nil while the caller may go on with a call that was admitted.
func (c *call) still() error {
	if _, err := c.g.decide(c.caller, c.rule, c.e.about); err != nil {
		return c.g.turnAway(c.e, err)
	}
	return nil
}

// turnAway leaves a refusal on record and gives it.
func (g *Guard) turnAway(e entry, err error) error {
	r := refusalIn(err)
	e.why, e.reason = r.why, r.text
	g.m.refused.WithLabelValues(string(r.why)).Inc()
	g.audit.write("refused", e)
	return r
}

// settle is the end of a call that came to an error of its own: if it was ended
// from here, that is the reason.
func (c *call) settle(ctx context.Context, err error) error {
	if ended := context.Cause(ctx); ended != nil && err != nil {
		if r, ok := ended.(*refusal); ok {
			return r
		}
	}
	return err
}
