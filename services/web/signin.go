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

func (s *Site) signOut(w http.ResponseWriter, r *http.Request) {
	s.o.Access.SignOut(w, r)
	w.Header().Set("Clear-Site-Data", `"storage"`) // the pages that the device keeps
	http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
}

// side is whose side the caller is on, "" where nobody signs in: they say then.
func (s *Site) side(ctx context.Context) string {
	if s.o.Access == nil {
		return ""
	}
	return alarm.Sign(ctx, s.o.Access, alarm.Person{}).Side.String()
}
