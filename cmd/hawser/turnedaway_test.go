package main

import (
	"html"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strings"
	"testing"
)

// visitor is somebody at a browser, signed in.
type visitor struct {
	s       *secured
	browser *http.Client
}

// signIn signs somebody in.
func (s *secured) signIn(name string) *visitor {
	s.t.Helper()
	v := &visitor{s, s.browser()}
	var err error
	if v.browser.Jar, err = cookiejar.New(nil); err != nil {
		s.t.Fatal(err)
	}
	if resp, body := v.post("/sign-in", url.Values{"token": {s.tokens[name]}}); resp.StatusCode != http.StatusSeeOther {
		s.t.Fatalf("%s signs in: %s %s", name, resp.Status, body)
	}
	return v
}

func (v *visitor) get(path string) (*http.Response, string) {
	v.s.t.Helper()
	return v.do(http.MethodGet, path, nil)
}

func (v *visitor) post(path string, form url.Values) (*http.Response, string) {
	v.s.t.Helper()
	return v.do(http.MethodPost, path, form)
}

func (v *visitor) do(method, path string, form url.Values) (*http.Response, string) {
	v.s.t.Helper()
	req, err := http.NewRequestWithContext(v.s.t.Context(), method, v.s.url(path), strings.NewReader(form.Encode()))
	if err != nil {
		v.s.t.Fatal(err)
	}
	if method == http.MethodPost {
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	resp, err := v.browser.Do(req)
	if err != nil {
		v.s.t.Fatal(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		v.s.t.Fatal(err)
	}
	return resp, string(body)
}

// Whoever follows a link to a page that is not for them is told so by a page: why,
// where they may go instead, and how to sign in as somebody who may. Programs are
// told in plain text.
func TestTurnedAwayFromAPage(t *testing.T) {
	t.Parallel()
	s := startSecured(t, nil)
	const crew = "crew of " + northShip
	v := s.signIn(crew)
	for _, c := range []struct{ path, why string }{
		{"/berth/" + townBerth, "berth " + townBerth + ": " + crew + " has not the role watch there"},
		{"/plan/" + townBerth, "berth " + townBerth + ": " + crew + " has not the role watch there"},
		{"/deck?berth=" + townBerth, "berth " + townBerth + ": " + crew + " has not the role watch there"},
		{"/log?berth=" + townBerth, "berth " + townBerth + ": " + crew + " has not the role watch there"},
		{"/lines?berth=" + townBerth, "berth " + townBerth + ": " + crew + " has not the role watch there"},
		{"/?berth=" + townBerth, "berth " + townBerth + ": " + crew + " has not the role watch there"},
		{"/performance", crew + " has not the role watch over the whole site"},
		{"/berth/%3Cscript%3E", "berth <script>: " + crew + " has not the role watch there"},
	} {
		resp, page := v.get(c.path)
		if resp.StatusCode != http.StatusForbidden || resp.Header.Get("Content-Type") != "text/html; charset=utf-8" || resp.Header.Get("Cache-Control") != "no-store" ||
			!strings.Contains(resp.Header.Get("Content-Security-Policy"), "default-src 'none'; script-src 'sha256-") {
			t.Errorf("%s: %s, %v", c.path, resp.Status, resp.Header)
		}
		for _, want := range []string{
			"<h1>Not let in</h1>", html.EscapeString(c.why) + ".</p>",
			`<a href="/">Go to “Terminal”</a>`, `<a href="/deck">`,
			`<form method="post" action="/sign-out"><input type="hidden" name="to" value="` + html.EscapeString(c.path) + `">`,
			"<span>" + crew + "</span>",
		} {
			if !strings.Contains(page, want) {
				t.Errorf("%s lacks %s:\n%s", c.path, want, page)
			}
		}
		if strings.Contains(page, `href="/performance"`) || strings.Contains(page, `href="/berth/`) || strings.Contains(page, "<script>:") {
			t.Errorf("%s leads to what is refused, or is not escaped:\n%s", c.path, page)
		}
		if got := s.get(crew, c.path); got != "403 Forbidden\n"+c.why+"\n" {
			t.Errorf("a program at %s is told %q", c.path, got)
		}
	}
	if resp, page := v.get("/berth/" + townBerth + "?lang=de"); resp.Header.Get("Content-Language") != "de" || !strings.Contains(page, `<p role="alert" lang="en-GB">berth `+townBerth) {
		t.Errorf("in German: %s", page)
	}
	// Nothing live is refused in a way that its script could not read.
	if resp, _ := v.get("/api/history?berth=" + townBerth); resp.StatusCode != http.StatusForbidden || !strings.HasPrefix(resp.Header.Get("Content-Type"), "text/plain") {
		t.Errorf("history: %s %s", resp.Status, resp.Header.Get("Content-Type"))
	}

	// By the way that is shown somebody who may see the page comes to it.
	resp, _ := v.post("/sign-out", url.Values{"to": {"/berth/" + townBerth}})
	if to := resp.Header.Get("Location"); resp.StatusCode != http.StatusSeeOther || to != "/sign-in?to=%2Fberth%2F"+townBerth {
		t.Fatalf("sign in as somebody else: %s to %q", resp.Status, to)
	}
	if resp, _ := v.get("/"); resp.StatusCode != http.StatusSeeOther {
		t.Errorf("the first one is still signed in: %s", resp.Status)
	}
	resp, _ = v.post("/sign-in", url.Values{"token": {s.tokens["watch"]}, "to": {"/berth/" + townBerth}})
	if resp, page := v.get(resp.Header.Get("Location")); resp.StatusCode != http.StatusOK || !strings.Contains(page, `href="/performance"`) || !strings.Contains(page, `href="/berth/`+townBerth+`"`) {
		t.Errorf("signed in as watch: %s", resp.Status)
	}
	if resp, _ := v.post("/sign-out", url.Values{"to": {"https://elsewhere.example/"}}); resp.Header.Get("Location") != "/sign-in" {
		t.Errorf("signed out to another server: %q", resp.Header.Get("Location"))
	}
}
