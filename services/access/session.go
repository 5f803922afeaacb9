package access

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"net/http"
	"sync"
	"sync/atomic"
	"time"
)

const (
	// cookieName has the prefix by which a browser takes it from this server over
	// TLS only, for every path and no other host (RFC 6265bis, 4.1.3.2).
	cookieName = "__Host-hawser"
	// sessionFor is how long a browser stays signed in: a watch and its handover.
	sessionFor = 13 * time.Hour
	// maxSessions bounds those of all, maxOwnSessions those of one caller, whose
	// oldest goes then.
	maxSessions    = 4096
	maxOwnSessions = 16
)

// session is a browser that is signed in. It is bound to what was shown: when
// that is worth nothing any more, nor is the session.
type session struct {
	proof proof
	key   string // of the caller
	began time.Time
	over  atomic.Bool // signed out, or in too often elsewhere
}

// caller is whom the session is of. It makes a session a proof.
func (s *session) caller(r *roll, now time.Time) (*Caller, error) {
	ends := s.began.Add(sessionFor)
	if s.over.Load() || !now.Before(ends) {
		return nil, refuse(notSignedIn, "the session is over: sign in again")
	}
	c, err := s.proof.caller(r, now)
	if err == nil && (c.Until.IsZero() || c.Until.After(ends)) {
		c.Until = ends
	}
	return c, err
}

// sessions are kept by the hash of what the cookie holds; a restart ends them.
type sessions struct {
	mu sync.Mutex
	of map[Hash]*session
}

// begin makes a session and gives what its cookie holds.
func (s *sessions) begin(p proof, key string, now time.Time) (value string, err error) {
	var b [tokenBytes]byte
	_, _ = rand.Read(b[:]) // never fails
	value = base64.RawURLEncoding.EncodeToString(b[:])
	s.mu.Lock()
	defer s.mu.Unlock()
	s.tidy(key, now)
	if len(s.of) >= maxSessions {
		return "", refuse(tooMuch, "too many browsers are signed in")
	}
	s.of[sha256.Sum256([]byte(value))] = &session{proof: p, key: key, began: now}
	return value, nil
}

// tidy drops what is over, and the caller's oldest where they have as many as
// they may; mu is held.
func (s *sessions) tidy(key string, now time.Time) {
	own, oldest := 0, Hash{}
	for id, session := range s.of {
		switch {
		case now.Sub(session.began) >= sessionFor:
			s.drop(id)
		case session.key == key:
			if own++; own == 1 || session.began.Before(s.of[oldest].began) {
				oldest = id
			}
		}
	}
	if own >= maxOwnSessions {
		s.drop(oldest)
	}
}

func (s *sessions) drop(id Hash) {
	if session := s.of[id]; session != nil {
		session.over.Store(true)
		delete(s.of, id)
	}
}

// find gives the session of a cookie's value.
func (s *sessions) find(value string) (*session, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if session := s.of[sha256.Sum256([]byte(value))]; session != nil {
		return session, nil
	}
	return nil, refuse(notSignedIn, "the session is over: sign in again")
}

func (s *sessions) end(value string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.drop(sha256.Sum256([]byte(value)))
}

func (s *sessions) count() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.of)
}

// cookie holds a session; with "" it takes the browser's away.
func cookie(value string) *http.Cookie {
	c := &http.Cookie{Name: cookieName, Value: value, Path: "/", Secure: true, HttpOnly: true, SameSite: http.SameSiteStrictMode,
		MaxAge: int(sessionFor / time.Second)}
	if value == "" {
		c.MaxAge = -1
	}
	return c
}

// SignIn begins a session for the holder of a token and gives the browser its
// cookie. The error is for who tried.
func (g *Guard) SignIn(w http.ResponseWriter, r *http.Request, token string) error {
	e := entry{what: "POST /sign-in", from: r.RemoteAddr}
	p, err := g.proofOfToken(r.Context(), token)
	var c *Caller
	if err == nil {
		c, err = p.caller(g.roll(), g.o.Now())
	}
	var value string
	if err == nil {
		value, err = g.sessions.begin(p, c.key, g.o.Now())
	}
	if err != nil {
		return g.turnAway(e, err)
	}
	e.of(c)
	e.role = scopes(c.Grants)
	g.audit.write("signed in", e)
	http.SetCookie(w, cookie(value))
	return nil
}

// SignOut ends the request's session, and with it what else the browser has open.
func (g *Guard) SignOut(w http.ResponseWriter, r *http.Request) {
	if c, err := r.Cookie(cookieName); err == nil {
		g.endSession(c.Value, r.RemoteAddr)
	}
	http.SetCookie(w, cookie(""))
}

func (g *Guard) endSession(value, from string) {
	session, err := g.sessions.find(value)
	if err != nil {
		return
	}
	if c, err := session.caller(g.roll(), g.o.Now()); err == nil {
		e := entry{what: "POST /sign-out", from: from}
		e.of(c)
		g.audit.write("signed out", e)
	}
	g.sessions.end(value)
	g.calls.recheck(g.roll(), g.o.Now())
}
