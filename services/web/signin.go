package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"strings"

	"hawser/services/alarm"
	"hawser/services/live"
)

// Access is who has signed in, by the request's context, and what they may see.
type Access interface {
	alarm.Access
	live.Access
	// SeesSite reports whether the caller may see all there is.
	SeesSite(ctx context.Context) bool
	// May reports whether the caller would be let in with a request, by the pattern of
	// its route, whose path, query or form has these values.
	May(ctx context.Context, pattern string, values url.Values) bool
	// Standing sums up what the caller may do: it is another once that is something else.
	Standing(ctx context.Context) string
	// Who is the caller's name.
	Who(ctx context.Context) string
	// SignIn begins a session for the holder of a token and gives the browser its
	// cookie. The error is for the person who tried.
	SignIn(w http.ResponseWriter, r *http.Request, token string) error
	// SignOut ends the request's session.
	SignOut(w http.ResponseWriter, r *http.Request)
}

// signInPage draws the form.
func (s *Site) signInPage(w http.ResponseWriter, r *http.Request) {
	s.drawSignIn(w, r, http.StatusOK, "", r.URL.Query().Get("to"))
}

// signInForm is why the form is there again, and the page that was asked for.
type signInForm struct{ Why, To string }

// drawSignIn draws the form.
func (s *Site) drawSignIn(w http.ResponseWriter, r *http.Request, status int, why, to string) {
	v := s.shellOf(r, "signin")
	v.Title, v.Page, v.Links = s.words[v.Lang].say("signin.title"), signInForm{why, ours(to)}, nil
	s.draw(w, status, "signin", v)
}

// ours is an address of a page of this server, "/" for any other.
func ours(to string) string {
	u, err := url.Parse(to)
	if err != nil || u.Scheme != "" || u.Host != "" || !strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//") || strings.ContainsAny(to, "\\\t\r\n") {
		return "/"
	}
	return to
}

// signIn takes the form.
func (s *Site) signIn(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, maxForm)
	err := r.ParseForm()
	token := strings.TrimSpace(r.PostForm.Get("token"))
	switch {
	case err != nil:
		err = errors.New("the form could not be read")
	case token == "":
		err = errors.New("a token is needed")
	default:
		err = s.o.Access.SignIn(w, r, token)
	}
	if err != nil {
		s.drawSignIn(w, r, http.StatusUnauthorized, err.Error(), r.PostForm.Get("to"))
		return
	}
	http.Redirect(w, r, ours(r.PostForm.Get("to")), http.StatusSeeOther)
}

// signOut takes the form, which may name a page for whoever signs in next.
func (s *Site) signOut(w http.ResponseWriter, r *http.Request) {
	s.o.Access.SignOut(w, r)
	w.Header().Set("Clear-Site-Data", `"storage"`) // the pages that the device keeps
	to := "/sign-in"
	if next := ours(r.PostFormValue("to")); next != "/" {
		to += "?" + url.Values{"to": {next}}.Encode()
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
}

// notLetIn is why somebody was turned away from a page, and where to go.
type notLetIn struct {
	Why   string // en-GB
	To    string // the page that was asked for
	Again bool   // it may open in a while
}

// TurnedAway answers a person whom access does not let in to a page.
func (s *Site) TurnedAway(w http.ResponseWriter, r *http.Request, status int, why string) {
	secure(w.Header())
	v := s.shellFor(r, "refused", "")
	v.Title = s.words[v.Lang].say("refused.title")
	v.Page = notLetIn{why, r.URL.RequestURI(), status != http.StatusForbidden}
	s.draw(w, status, "refused", v)
}

// mayCall reports whether the caller may open a page or make another call about a
// berth, or about none for "".
func (s *Site) mayCall(ctx context.Context, pattern, berth string) bool {
	return s.o.Access == nil || s.o.Access.May(ctx, pattern, url.Values{"berth": {berth}})
}

// side is whose side the caller is on, "" where nobody signs in: they say then.
func (s *Site) side(ctx context.Context) string {
	if s.o.Access == nil {
		return ""
	}
	return alarm.Sign(ctx, s.o.Access, alarm.Person{}).Side.String()
}
