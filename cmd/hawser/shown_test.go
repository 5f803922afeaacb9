package main

import (
	"bufio"
	"context"
	"encoding/json"
	"html"
	"maps"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"hawser/services/access"
	"hawser/services/alarm"
	"hawser/services/waittest"
)

// shownSetup is what a page tells its script of what its reader may do.
type shownSetup struct {
	May   []string
	Whole struct {
		Alarms struct {
			List []struct {
				ID, Berth, Line string
				May             []string
			}
			Holds []struct {
				Berth, Condition, Line, Group, Source string
				May                                   []string
			}
		}
	}
}

var (
	setupInPage = regexp.MustCompile(`(?s)<script type="application/json" id="setup">(.*?)</script>`)
	markInPage  = regexp.MustCompile(`"mark":"([^"]+)"`)
	linkInPage  = regexp.MustCompile(` href="(/[^"]*)"`)
)

// Whatever a page offers its reader is done for them when they do it, and whatever
// would be done is offered: for every role, over the site, a berth and a ship.
func TestPagesOfferWhatIsDone(t *testing.T) {
	t.Parallel()
	people := map[string]access.Grant{}
	for _, role := range access.Roles() {
		people[role.String()+" at north"] = access.Grant{Role: role, Berth: northBerth}
	}
	s := startSecured(t, people)
	for _, berth := range []string{northBerth, townBerth} {
		if _, err := s.st.alarms.TakeOutOfService(t.Context(), alarm.Subject{Berth: berth, Line: "1"}, alarm.Person{By: "A. Rigger"}, "Load pin off for test."); err != nil {
			t.Fatal(err)
		}
	}
	seldom := map[string]bool{} // deeds that somebody is offered and somebody is not
	for _, name := range slices.Sorted(maps.Keys(s.tokens)) {
		v, followed := s.signIn(name), map[string]bool{}
		for _, path := range []string{"/", "/deck", "/deck?berth=" + northBerth, "/berth/" + northBerth, "/plan/" + northBerth, "/plan/" + townBerth, "/engineer", "/log", "/lines", "/performance"} {
			resp, page := v.get(path)
			setup := setupIn(t, page)
			for _, link := range linkInPage.FindAllStringSubmatch(page, -1) {
				if followed[link[1]] {
					continue
				}
				followed[link[1]] = true
				if to, _ := v.get(html.UnescapeString(link[1])); to.StatusCode != http.StatusOK {
					t.Errorf("%s at %s is led to %s, which answers %s", name, path, link[1], to.Status)
				}
			}
			if resp.StatusCode != http.StatusOK {
				continue // what they are led to from there is what matters
			}
			for _, a := range setup.Whole.Alarms.List {
				form := url.Values{"id": {a.ID}, "place": {a.Berth + "//" + a.Line + "/"}}
				for _, deed := range []string{"acknowledge", "note", "shelve", "reset", "out-of-service"} {
					seldom[deed] = seldom[deed] || !v.offered(path, deed, a.May, form)
				}
			}
			for _, h := range setup.Whole.Alarms.Holds {
				form := url.Values{"place": {strings.Join([]string{h.Berth, h.Condition, h.Line, h.Group, h.Source}, "/")}}
				seldom["end-hold"] = seldom["end-hold"] || !v.offered(path, "end-hold", h.May, form)
			}
			if berth, ok := strings.CutPrefix(path, "/plan/"); ok {
				put, _ := v.do(http.MethodPut, "/api/plan?berth="+berth, nil) // no plan: none is put in force
				if offered := slices.Contains(setup.May, "PUT /api/plan"); offered == (put.StatusCode == http.StatusForbidden) {
					t.Errorf("%s at %s is offered to put a plan in force: %v; it answers %s", name, path, offered, put.Status)
				}
			}
		}
	}
	if len(seldom) != 6 {
		t.Errorf("looked at %v", seldom)
	}
	for deed, is := range seldom {
		if !is {
			t.Errorf("%s is offered to everybody, or nobody was asked", deed)
		}
	}
}

// offered compares what a page says of a deed with what comes of it. The form lacks
// a name, so that nothing is done.
func (v *visitor) offered(path, deed string, may []string, form url.Values) bool {
	v.s.t.Helper()
	resp, _ := v.post("/"+deed, form)
	offered := slices.Contains(may, deed)
	want := http.StatusForbidden
	if offered {
		want = http.StatusBadRequest // no name
	}
	if resp.StatusCode != want {
		v.s.t.Errorf("at %s %s of %v is offered: %v; it answers %s", path, deed, form, offered, resp.Status)
	}
	return offered
}

func setupIn(t *testing.T, page string) (setup shownSetup) {
	t.Helper()
	found := setupInPage.FindStringSubmatch(page)
	if found == nil {
		t.Fatalf("the page has no setup: %s", page)
	}
	if err := json.Unmarshal([]byte(found[1]), &setup); err != nil {
		t.Fatal(err)
	}
	return setup
}

// A role that is taken away while a page is open takes its controls with it: the
// page is told anew, though no alarm has changed.
func TestPagesFollowTheRole(t *testing.T) {
	t.Parallel()
	s := startSecured(t, map[string]access.Grant{"mate": {Role: access.Acknowledge, Berth: northBerth}})
	v := s.signIn("mate")
	_, page := v.get("/")
	if !strings.Contains(page, `"may":["acknowledge","note"]`) {
		t.Fatalf("offered nothing: %s", page)
	}
	mark := markInPage.FindStringSubmatch(page)[1]
	path := filepath.Join(s.dir, "access.yaml")
	file, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	less := strings.Replace(string(file), "role: acknowledge, berth: "+northBerth, "role: watch, berth: "+northBerth, 1)
	if err := os.WriteFile(path, []byte(less), 0o600); err != nil {
		t.Fatal(err)
	}
	waittest.Until(t, "the page to be told anew", func() error {
		if told := v.firstEvent("/live?after=" + url.QueryEscape(mark)); !strings.HasPrefix(told, "event: whole\n") || !strings.Contains(told, "link-slow") || strings.Contains(told, `"may"`) {
			return errString(told)
		}
		return nil
	})
}

// firstEvent is the first of a stream of events.
func (v *visitor) firstEvent(path string) string {
	v.s.t.Helper()
	ctx, cancel := context.WithCancel(v.s.t.Context())
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, v.s.url(path), nil)
	if err != nil {
		v.s.t.Fatal(err)
	}
	resp, err := v.browser.Do(req)
	if err != nil {
		v.s.t.Fatal(err)
	}
	defer resp.Body.Close()
	var told strings.Builder
	lines := bufio.NewScanner(resp.Body)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() && lines.Text() != "" {
		told.WriteString(lines.Text() + "\n")
	}
	return told.String()
}
