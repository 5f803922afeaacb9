package web_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"hawser/detect"
)

func (s *station) post(form url.Values, header http.Header) (*http.Response, string) {
	s.t.Helper()
	return s.postTo("/acknowledge", form, header)
}

func (s *station) postTo(path string, form url.Values, header http.Header) (*http.Response, string) {
	s.t.Helper()
	req, err := http.NewRequestWithContext(s.t.Context(), http.MethodPost, s.server.URL+path, strings.NewReader(form.Encode()))
	must(s.t, err)
	for name, values := range header {
		req.Header[name] = values
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return s.do(req)
}

func TestAcknowledge(t *testing.T) {
	s := newStation(t, nil)
	id := s.raise("east-3", 1, detect.LineParted, "1", "Line 1 parted.")
	resp, _ := s.post(url.Values{"id": {id}, "by": {" Bosun "}, "note": {"going"}, "berth": {"east-3"}}, http.Header{"Origin": {s.server.URL}})
	if resp.StatusCode != http.StatusSeeOther || resp.Header.Get("Location") != "/?berth=east-3" {
		t.Fatalf("answer: %d to %q", resp.StatusCode, resp.Header.Get("Location"))
	}
	_, page := s.get("/")
	says(t, page, "1 active alarm", "✓ Taken on by Bosun for the terminal, 1 Mar 2026, 05:00:00 UTC : going Acknowledge for the ship")
	resp, page = s.post(url.Values{"id": {id}, "by": {"Mate"}}, nil)
	if resp.StatusCode != http.StatusConflict {
		t.Errorf("second: %d", resp.StatusCode)
	}
	says(t, page, "Already taken on Bosun acknowledged this alarm for the terminal at 1 Mar 2026, 05:00:00 UTC.")
	resp, _ = s.postTo("/acknowledge?side=ship", url.Values{"id": {id}, "by": {"Mate"}, "side": {"terminal"}}, nil)
	if resp.StatusCode != http.StatusSeeOther {
		t.Errorf("the ship's: %d", resp.StatusCode)
	}
	_, page = s.get("/")
	says(t, page, "✓ Taken on by Mate for the ship")
	if strings.Contains(page, "<button") {
		t.Error("it can be acknowledged again")
	}
}

// What is kept quiet is no longer among the active alarms, says by whom and why,
// and can be ended.
func TestShelfAndOutOfService(t *testing.T) {
	s := newStation(t, nil)
	over := s.raise("east-3", 1, detect.OverLimit, "1", "Line 1 over.")
	s.raise("east-3", 2, detect.SensorFault, "2", "Line 2's load pin has no signal.")
	who := func(more url.Values) url.Values {
		more.Set("by", "Mate")
		more.Set("side", "ship")
		more.Set("note", "known swell")
		return more
	}
	done := func(path string, form url.Values) string {
		t.Helper()
		if resp, body := s.postTo(path, form, nil); resp.StatusCode != http.StatusSeeOther {
			t.Fatalf("%s: %d %s", path, resp.StatusCode, text(body))
		}
		_, page := s.get("/")
		return page
	}
	says(t, done("/shelve", who(url.Values{"id": {over}, "period": {"30m"}})), "1 active alarm, 1 not taken on",
		"Kept quiet Over limit Line 1, head line On a shelf until 1 Mar 2026, 05:30:00 UTC ; active now . east-3 · by Mate, ship: known swell Take off the shelf")
	says(t, done("/out-of-service", who(url.Values{"place": {"east-3//2/"}})), "No active alarms",
		"All alarms Line 2 Out of service since 1 Mar 2026, 05:00:00 UTC ; active now . east-3 · by Mate, ship: known swell Put back in service")
	says(t, done("/end-hold", who(url.Values{"place": {"east-3/over-limit/1/head"}})), "1 active alarm, 1 not taken on")
	says(t, done("/end-hold", who(url.Values{"place": {"east-3//2/"}})), "2 active alarms, 2 not taken on")
}

func TestHoldsRefused(t *testing.T) {
	s := newStation(t, nil)
	parted := s.raise("east-3", 1, detect.LineParted, "1", "Line 1 parted.")
	over := s.raise("east-3", 2, detect.OverLimit, "1", "Line 1 over.")
	for name, row := range map[string]struct {
		path string
		form url.Values
		code int
		says string
	}{
		"emergency":        {"/shelve", url.Values{"id": {parted}, "period": {"1h"}, "note": {"n"}}, 409, "emergency cannot"},
		"no reason":        {"/shelve", url.Values{"id": {over}, "period": {"1h"}}, 400, "Give the reason"},
		"too long":         {"/shelve", url.Values{"id": {over}, "period": {"9h"}, "note": {"n"}}, 400, "at most 8 hours"},
		"no time":          {"/shelve", url.Values{"id": {over}, "note": {"n"}}, 400, "at most 8 hours"},
		"no line":          {"/out-of-service", url.Values{"place": {"east-3///"}, "note": {"n"}}, 400, "names no line"},
		"no place":         {"/out-of-service", url.Values{"place": {"x"}, "note": {"n"}}, 400, "names no line"},
		"line's no reason": {"/out-of-service", url.Values{"place": {"east-3//1/"}}, 400, "Give the reason"},
		"nothing held":     {"/end-hold", url.Values{"place": {"east-3//1/"}}, 404, "Nothing is held"},
	} {
		row.form.Set("by", "Mate")
		if resp, body := s.postTo(row.path, row.form, nil); resp.StatusCode != row.code || !strings.Contains(body, row.says) {
			t.Errorf("%s: %d %q, want %d that says %q", name, resp.StatusCode, text(body), row.code, row.says)
		}
		if resp, _ := s.postTo(row.path, row.form, http.Header{"Sec-Fetch-Site": {"cross-site"}}); resp.StatusCode != http.StatusForbidden {
			t.Errorf("%s from another site: %d", name, resp.StatusCode)
		}
	}
	if n := len(s.alarms.Holds("")); n != 0 {
		t.Errorf("%d holds", n)
	}
}

func TestAcknowledgeRefuses(t *testing.T) {
	s := newStation(t, nil)
	id := s.raise("east-3", 1, detect.LineParted, "1", "Line 1 parted.")
	form := func(id, by, note string) url.Values { return url.Values{"id": {id}, "by": {by}, "note": {note}} }
	for name, row := range map[string]struct {
		form   url.Values
		header http.Header
		code   int
		says   string
	}{
		"from another site":      {form(id, "Mate", ""), http.Header{"Sec-Fetch-Site": {"cross-site"}}, 403, "cross-origin"},
		"from another subdomain": {form(id, "Mate", ""), http.Header{"Sec-Fetch-Site": {"same-site"}}, 403, "cross-origin"},
		"from another origin":    {form(id, "Mate", ""), http.Header{"Origin": {"http://elsewhere.example"}}, 403, "cross-origin"},
		"nobody":                 {form(id, "  ", ""), nil, 400, "Give the name"},
		"no alarm":               {form("", "Mate", ""), nil, 400, "names no alarm"},
		"unknown alarm":          {form("east-3/x", "Mate", ""), nil, 404, "no such alarm"},
		"name too long":          {form(id, strings.Repeat("ö", 81), ""), nil, 400, "at most 80"},
		"note too long":          {form(id, "Mate", strings.Repeat("ö", 501)), nil, 400, "at most 500"},
		"no text":                {form(id, "\xff\xfe", ""), nil, 400, "must be text"},
		"too much":               {form(id, "Mate", strings.Repeat("x", 20000)), nil, 400, "could not be read"},
	} {
		resp, body := s.post(row.form, row.header)
		if resp.StatusCode != row.code || !strings.Contains(body, row.says) {
			t.Errorf("%s: %d %q, want %d that says %q", name, resp.StatusCode, text(body), row.code, row.says)
		}
	}
	if alarms, _ := s.alarms.List("", false); alarms[0].Acknowledged() != nil {
		t.Error("it was acknowledged all the same")
	}
	// 80 and 500 characters are the schema's bounds.
	if resp, _ := s.post(form(id, strings.Repeat("ö", 80), strings.Repeat("ö", 500)), nil); resp.StatusCode != http.StatusSeeOther {
		t.Errorf("at the bounds: %d", resp.StatusCode)
	}
}
