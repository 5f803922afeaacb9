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
	req, err := http.NewRequestWithContext(s.t.Context(), http.MethodPost, s.server.URL+"/acknowledge", strings.NewReader(form.Encode()))
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
	says(t, page, "1 active alarm", "✓ Taken on by Bosun, 1 Mar 2026, 05:00:00 UTC : going")
	if strings.Contains(page, "<button") {
		t.Error("it can be acknowledged again")
	}
	resp, page = s.post(url.Values{"id": {id}, "by": {"Mate"}}, nil)
	if resp.StatusCode != http.StatusConflict {
		t.Errorf("second: %d", resp.StatusCode)
	}
	says(t, page, "Already taken on Bosun acknowledged this alarm at 1 Mar 2026, 05:00:00 UTC.")
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
	if alarms, _ := s.alarms.List("", false); !alarms[0].Acknowledged.IsZero() {
		t.Error("it was acknowledged all the same")
	}
	// 80 and 500 characters are the schema's bounds.
	if resp, _ := s.post(form(id, strings.Repeat("ö", 80), strings.Repeat("ö", 500)), nil); resp.StatusCode != http.StatusSeeOther {
		t.Errorf("at the bounds: %d", resp.StatusCode)
	}
}
