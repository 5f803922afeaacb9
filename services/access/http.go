package access

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strconv"
)

// Telling answers a person who is not let in to a page: with the status, and why.
type Telling func(w http.ResponseWriter, r *http.Request, status int, why string)

// Route puts the guard before the handler of a route, by its pattern. A pattern
// without a rule is an error.
func (g *Guard) Route(pattern string, next http.Handler) (http.Handler, error) {
	return g.RouteTelling(pattern, next, func(w http.ResponseWriter, _ *http.Request, status int, why string) { http.Error(w, why, status) })
}

// RouteTelling is Route where people are told in the look of the pages.
func (g *Guard) RouteTelling(pattern string, next http.Handler, tell Telling) (http.Handler, error) {
	r, ok := g.rules[pattern]
	if !ok {
		return nil, fmt.Errorf("access: no rule for the route %s", pattern)
	}
	return http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		req.Body = http.MaxBytesReader(w, req.Body, int64(r.most()))
		if r.open {
			next.ServeHTTP(w, req)
			return
		}
		g.serve(w, req, pattern, r, next, tell)
	}), nil
}

func (g *Guard) serve(w http.ResponseWriter, req *http.Request, pattern string, r rule, next http.Handler, tell Telling) {
	ctx, c, err := g.beginRequest(req, pattern, r)
	if err != nil {
		turnedAway(w, req, r, err, tell)
		return
	}
	defer c.done()
	req = req.WithContext(ctx)
	var a about
	if r.request != nil {
		if a, err = r.request(req); err != nil {
			err = g.turnAway(c.e, err)
		}
	}
	if err == nil {
		err = c.admit(a, 0) // the body's size is bounded already
	}
	if err != nil {
		turnedAway(w, req, r, err, tell)
		return
	}
	answer := &coded{ResponseWriter: w}
	defer func() {
		c.e.code = strconv.Itoa(max(answer.code, http.StatusOK))
		g.audit.write("allowed", c.e)
	}()
	next.ServeHTTP(answer, req)
}

// beginRequest begins a request by what its headers show.
func (g *Guard) beginRequest(req *http.Request, pattern string, r rule) (context.Context, *call, error) {
	s := shown{from: req.RemoteAddr, authorization: req.Header.Values("Authorization")}
	if c, err := req.Cookie(cookieName); err == nil {
		s.session = c.Value
	}
	return g.begin(req.Context(), pattern, r, s)
}

// turnedAway answers a request that is not let in. Programs show a token and are
// told in plain text, people in a browser by a page.
func turnedAway(w http.ResponseWriter, req *http.Request, r rule, err error, tell Telling) {
	no := refusalIn(err)
	w.Header().Set("Cache-Control", "no-store")
	person := r.page && req.Header.Get("Authorization") == ""
	switch {
	case no.why == notSignedIn && person:
		to := "/sign-in"
		if asked := req.URL.RequestURI(); asked != "/" {
			to += "?" + url.Values{"to": {asked}}.Encode() // for after
		}
		http.Redirect(w, req, to, http.StatusSeeOther)
		return
	case no.why == notSignedIn:
		w.Header().Set("WWW-Authenticate", `Bearer realm="hawser"`)
	case no.why == tooMuch:
		w.Header().Set("Retry-After", "1")
	}
	if person {
		tell(w, req, no.httpCode(), no.text)
		return
	}
	http.Error(w, no.text, no.httpCode())
}

// coded remembers the status. Unwrap gives http.ResponseController the
// connection.
type coded struct {
	http.ResponseWriter
	code int
}

func (w *coded) WriteHeader(code int) {
	if w.code == 0 {
		w.code = code
	}
	w.ResponseWriter.WriteHeader(code)
}

func (w *coded) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// host is an address without its port.
func host(address string) string {
	if h, _, err := net.SplitHostPort(address); err == nil {
		return h
	}
	return address
}
