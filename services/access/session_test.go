package access_test

import (
	"fmt"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strings"
	"testing"
	"time"

	"hawser/services/access"
)

// browser is a client that keeps cookies as a browser does, over its own
// connections.
func (h *house) browser() *http.Client {
	c := h.client()
	jar, err := cookiejar.New(nil)
	must(h.t, err)
	c.Jar = jar
	return c
}

func (h *house) signIn(c *http.Client, token string) *http.Response {
	h.t.Helper()
	resp, _ := h.do(c, "POST", "/sign-in", url.Values{"token": {token}}.Encode(), nil)
	return resp
}

func TestSession(t *testing.T) {
	token, entry := person("desk", "{role: acknowledge, site: true}")
	h := newHouse(t, "people:\n"+entry, nil, nil)
	browser := h.browser()
	if resp, _ := h.do(browser, "GET", "/", "", nil); resp.StatusCode != http.StatusSeeOther || resp.Header.Get("Location") != "/sign-in" {
		t.Errorf("before: %d to %q", resp.StatusCode, resp.Header.Get("Location"))
	}
	if resp, body := h.do(browser, "GET", "/live", "", nil); resp.StatusCode != http.StatusUnauthorized {
		t.Errorf("events before: %d %s", resp.StatusCode, body)
	}
	if resp := h.signIn(browser, access.NewToken()); resp.StatusCode != http.StatusUnauthorized || len(resp.Cookies()) > 0 {
		t.Errorf("unknown token: %d, cookies %v", resp.StatusCode, resp.Cookies())
	}
	resp := h.signIn(browser, token)
	if resp.StatusCode != http.StatusOK || len(resp.Cookies()) != 1 {
		t.Fatalf("sign in: %d, cookies %v", resp.StatusCode, resp.Cookies())
	}
	// RFC 6265bis, 4.1.3.2: the prefix holds only with Secure, Path=/ and no Domain.
	c := resp.Cookies()[0]
	if c.Name != "__Host-hawser" || !c.Secure || !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Path != "/" || c.Domain != "" || len(c.Value) < 43 {
		t.Errorf("cookie: %+v", c)
	}
	if strings.Contains(c.Value, token) || strings.Contains(h.audit.String(), c.Value) || strings.Contains(h.audit.String(), token) {
		t.Error("the token is in the cookie, or one of them in the audit log")
	}
	if resp, body := h.do(browser, "GET", "/", "", nil); resp.StatusCode != http.StatusOK || body != "page for desk" {
		t.Errorf("signed in: %d %s", resp.StatusCode, body)
	}
	// A token that is shown goes before the session.
	if resp, _ := h.do(browser, "GET", "/", "", bearer(access.NewToken())); resp.StatusCode != http.StatusUnauthorized {
		t.Errorf("signed in, with another token: %d", resp.StatusCode)
	}

	// Signing out ends what the browser has open, and the cookie for good.
	events := h.events(browser)
	if resp, _ := h.do(browser, "POST", "/sign-out", "", nil); len(resp.Cookies()) != 1 || resp.Cookies()[0].MaxAge >= 0 {
		t.Errorf("sign out: cookies %v", resp.Cookies())
	}
	ends(t, events)
	if resp, _ := h.do(h.client(), "GET", "/", "", http.Header{"Cookie": {c.Name + "=" + c.Value}}); resp.StatusCode != http.StatusSeeOther {
		t.Errorf("the cookie afterwards: %d", resp.StatusCode)
	}
	for _, want := range []string{`"msg":"signed in","who":"desk","kind":"token","role":"acknowledge, site"`, `"msg":"signed out","who":"desk"`} {
		if !strings.Contains(h.audit.String(), want) {
			t.Errorf("audit lacks %s:\n%s", want, h.audit.String())
		}
	}
}

// events opens the stream of events; what it gives is closed when it ends.
func (h *house) events(c *http.Client) <-chan struct{} {
	h.t.Helper()
	req, err := http.NewRequestWithContext(h.t.Context(), http.MethodGet, "https://"+h.front.HTTPAddr().String()+"/live", nil)
	must(h.t, err)
	patient := *c
	patient.Timeout = 0 // it is the server that is to end it
	resp, err := patient.Do(req)
	must(h.t, err)
	if resp.StatusCode != http.StatusOK {
		h.t.Fatalf("events: %d", resp.StatusCode)
	}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		defer resp.Body.Close()
		_, _ = resp.Body.Read(make([]byte, 1))
	}()
	return ended
}

// ends waits for the stream of events to end.
func ends(t *testing.T, events <-chan struct{}) {
	t.Helper()
	select {
	case <-events:
	case <-time.After(deadline):
		t.Fatal("the events go on")
	}
}

// A session is worth what its token is: nothing once that is off the file.
func TestSessionEndsWithItsToken(t *testing.T) {
	token, entry := person("desk", "{role: watch, site: true}")
	_, other := person("other", "{role: watch, site: true}")
	h := newHouse(t, "people:\n"+entry+other, nil, nil)
	browser := h.browser()
	h.signIn(browser, token)
	events := h.events(browser)
	h.write("access.yaml", []byte("people:\n"+other))
	ends(t, events)
	if resp, _ := h.do(browser, "GET", "/", "", nil); resp.StatusCode != http.StatusSeeOther {
		t.Errorf("afterwards: %d", resp.StatusCode)
	}
}

// A token opens so many sessions; the oldest gives way to one more.
func TestSessionsAreBounded(t *testing.T) {
	token, entry := person("desk", "{role: watch, site: true}")
	h := newHouse(t, "people:\n"+entry, nil, nil)
	var browsers []*http.Client
	for range 17 {
		b := h.browser()
		h.signIn(b, token)
		browsers = append(browsers, b)
	}
	for i, b := range browsers {
		want := http.StatusOK
		if i == 0 {
			want = http.StatusSeeOther
		}
		if resp, _ := h.do(b, "GET", "/", "", nil); resp.StatusCode != want {
			t.Errorf("session %d: %d, want %d", i+1, resp.StatusCode, want)
		}
	}
	if _, body := h.do(h.client(), "GET", "/metrics", "", bearer(token)); !strings.Contains(body, "\nhawser_access_sessions 16\n") {
		t.Errorf("metrics do not say 16 sessions: %s", fmt.Sprint(strings.Contains(body, "hawser_access_sessions")))
	}
}
