package web_test

import (
	"encoding/json"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"hawser/detect"
)

type refused struct {
	Refused, By, Side string
	At                int64
}

// do posts a form and gives the status and the refusal.
func (s *station) post(path string, form url.Values, header http.Header) (int, refused) {
	s.t.Helper()
	req, err := http.NewRequestWithContext(s.t.Context(), http.MethodPost, s.server.URL+path, strings.NewReader(form.Encode()))
	must(s.t, err)
	for name, values := range header {
		req.Header[name] = values
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	resp, body := s.do(req)
	var no refused
	if resp.Header.Get("Content-Type") == "application/json" {
		must(s.t, json.Unmarshal([]byte(body), &no))
	}
	return resp.StatusCode, no
}

func TestAcknowledgeBySide(t *testing.T) {
	s := newStation(t, nil)
	id := s.raise("east-3", 1, detect.LineParted, "1", "Line 1 parted.")
	if code, no := s.post("/acknowledge", url.Values{"id": {id}, "by": {" Bosun "}, "note": {"going"}}, http.Header{"Origin": {s.server.URL}}); code != http.StatusOK {
		t.Fatalf("answer: %d %+v", code, no)
	}
	if a := s.look("/").Alarms.List[0]; a.State != "active-acknowledged" || len(a.Acks) != 1 || a.Acks[0].By != "Bosun" || a.Acks[0].Side != "terminal" || a.Acks[0].Note != "going" {
		t.Errorf("acknowledged: %+v", a)
	}
	if code, no := s.post("/acknowledge", url.Values{"id": {id}, "by": {"Mate"}}, nil); code != http.StatusConflict || no != (refused{"taken", "Bosun", "terminal", s.clock.Now().UnixMilli()}) {
		t.Errorf("second: %d %+v", code, no)
	}
	if code, no := s.post("/acknowledge", url.Values{"id": {id}, "by": {"Mate"}, "side": {"ship"}}, nil); code != http.StatusOK {
		t.Errorf("the ship's: %d %+v", code, no)
	}
	if a := s.look("/").Alarms.List[0]; len(a.Acks) != 2 || a.Acks[1].Side != "ship" || a.Acks[1].By != "Mate" {
		t.Errorf("acknowledged: %+v", a)
	}
}

// What somebody writes to an alarm stands with it and changes nothing else.
func TestNote(t *testing.T) {
	s := newStation(t, nil)
	id := s.raise("east-3", 1, detect.OverLimit, "1", "Line 1 over.")
	for _, text := range []string{"tug ordered", "tug alongside"} {
		if code, no := s.post("/note", url.Values{"id": {id}, "by": {"Mate"}, "side": {"ship"}, "note": {text}}, nil); code != http.StatusOK {
			t.Fatalf("answer: %d %+v", code, no)
		}
	}
	if a := s.look("/").Alarms.List[0]; a.State != "active-unacknowledged" || len(a.Notes) != 2 || a.Notes[1].Text != "tug alongside" || a.Notes[1].By != "Mate" || a.Notes[1].Side != "ship" {
		t.Errorf("noted: %+v", a)
	}
}

// What is kept quiet is no longer among the active alarms, says by whom and why,
// and can be ended.
func TestShelfAndOutOfService(t *testing.T) {
	s := newStation(t, nil)
	over := s.raise("east-3", 1, detect.OverLimit, "1", "Line 1 over.")
	s.raise("east-3", 2, detect.SensorFault, "2", "Line 2's load pin has no signal.")
	do := func(path string, form url.Values) *message {
		t.Helper()
		form.Set("by", "Mate")
		form.Set("side", "ship")
		form.Set("note", "known swell")
		if code, no := s.post(path, form, nil); code != http.StatusOK {
			t.Fatalf("%s: %d %+v", path, code, no)
		}
		return s.look("/")
	}
	states := func(m *message) string {
		by := map[string]string{}
		for _, a := range m.Alarms.List {
			by[a.Line] = a.State
		}
		return by["1"] + " " + by["2"]
	}
	p := do("/shelve", url.Values{"id": {over}, "period": {"30m"}})
	if h := p.Alarms.Holds[0]; states(p) != "shelved active-unacknowledged" || h.Condition != "over-limit" || h.Line != "1" || h.By != "Mate" ||
		h.Side != "ship" || h.Reason != "known swell" || h.Until != s.clock.Now().UnixMilli()+30*60_000 {
		t.Errorf("shelved: %s, %+v", states(p), h)
	}
	p = do("/out-of-service", url.Values{"place": {"east-3//2/"}})
	if h := p.Alarms.Holds[1]; states(p) != "shelved out-of-service" || h.Condition != "" || h.Line != "2" || h.Until != 0 {
		t.Errorf("out of service: %s, %+v", states(p), h)
	}
	do("/end-hold", url.Values{"place": {"east-3/over-limit/1/head"}})
	if p = do("/end-hold", url.Values{"place": {"east-3//2/"}}); states(p) != "active-unacknowledged active-unacknowledged" || len(p.Alarms.Holds) != 0 {
		t.Errorf("ended: %s", states(p))
	}
}

func TestDeedsRefused(t *testing.T) {
	s := newStation(t, nil)
	parted := s.raise("east-3", 1, detect.LineParted, "1", "Line 1 parted.")
	over := s.raise("east-3", 2, detect.OverLimit, "1", "Line 1 over.")
	long := strings.Repeat("ö", 501)
	for name, row := range map[string]struct {
		path string
		form url.Values
		code int
		why  string
	}{
		"emergency on a shelf": {"/shelve", url.Values{"id": {parted}, "period": {"1h"}, "note": {"n"}}, 409, "emergency"},
		"no reason":            {"/shelve", url.Values{"id": {over}, "period": {"1h"}}, 400, "no-reason"},
		"too long a shelf":     {"/shelve", url.Values{"id": {over}, "period": {"9h"}, "note": {"n"}}, 400, "period"},
		"no time":              {"/shelve", url.Values{"id": {over}, "note": {"n"}}, 400, "period"},
		"no line":              {"/out-of-service", url.Values{"place": {"east-3///"}, "note": {"n"}}, 400, "no-line"},
		"no place":             {"/out-of-service", url.Values{"place": {"x"}, "note": {"n"}}, 400, "no-line"},
		"a line, no reason":    {"/out-of-service", url.Values{"place": {"east-3//1/"}}, 400, "no-reason"},
		"nothing held":         {"/end-hold", url.Values{"place": {"east-3//1/"}}, 404, "not-held"},
		"a note of nothing":    {"/note", url.Values{"id": {over}, "note": {" "}}, 400, "no-note"},
		"not a parting, reset": {"/reset", url.Values{"id": {over}, "note": {"n"}}, 409, "not-latching"},
		"a reset without why":  {"/reset", url.Values{"id": {parted}}, 400, "no-reason"},
		"a note to nothing":    {"/note", url.Values{"id": {"east-3/x"}, "note": {"n"}}, 404, "unknown"},
		"nobody":               {"/acknowledge", url.Values{"id": {parted}, "by": {"  "}}, 400, "no-name"},
		"no alarm":             {"/acknowledge", url.Values{}, 400, "no-alarm"},
		"unknown alarm":        {"/acknowledge", url.Values{"id": {"east-3/x"}}, 404, "unknown"},
		"name too long":        {"/acknowledge", url.Values{"id": {parted}, "by": {long[:162]}}, 400, "long-name"},
		"note too long":        {"/acknowledge", url.Values{"id": {parted}, "note": {long}}, 400, "long-note"},
		"no text":              {"/acknowledge", url.Values{"id": {parted}, "by": {"\xff\xfe"}}, 400, "no-text"},
		"too much":             {"/acknowledge", url.Values{"id": {parted}, "note": {strings.Repeat("x", 20000)}}, 400, "unreadable"},
	} {
		if !row.form.Has("by") {
			row.form.Set("by", "Mate")
		}
		if code, no := s.post(row.path, row.form, nil); code != row.code || no.Refused != row.why {
			t.Errorf("%s: %d %+v, want %d %q", name, code, no, row.code, row.why)
		}
		for where, header := range map[string]http.Header{"site": {"Sec-Fetch-Site": {"cross-site"}}, "subdomain": {"Sec-Fetch-Site": {"same-site"}}, "origin": {"Origin": {"http://elsewhere.example"}}} {
			if code, _ := s.post(row.path, row.form, header); code != http.StatusForbidden {
				t.Errorf("%s from another %s: %d", name, where, code)
			}
		}
	}
	if alarms, _ := s.alarms.List("", false); alarms[0].Acknowledged() != nil || len(s.alarms.Holds("")) != 0 {
		t.Error("something was done all the same")
	}
	// 80 and 500 characters are the schema's bounds.
	if code, no := s.post("/acknowledge", url.Values{"id": {parted}, "by": {long[:160]}, "note": {long[:1000]}}, nil); code != http.StatusOK {
		t.Errorf("at the bounds: %d %+v", code, no)
	}
}
