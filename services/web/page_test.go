package web_test

import (
	"html"
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protojson"

	"hawser/detect"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/alarm"
	"hawser/services/web"
)

// text is what a page says, without its markup.
func text(page string) string {
	page = regexp.MustCompile(`<[^>]*>`).ReplaceAllString(page, " ")
	return html.UnescapeString(regexp.MustCompile(`\s+`).ReplaceAllString(page, " "))
}

func says(t *testing.T, page string, want ...string) {
	t.Helper()
	got := text(page)
	for _, w := range want {
		if !strings.Contains(got, w) {
			t.Errorf("the page does not say %q", w)
		}
	}
	if t.Failed() {
		t.Log(got)
	}
}

func TestPageShowsLinesAndAlarms(t *testing.T) {
	s := newStation(t, nil)
	s.board.SetPlan("east-3", plan("east-3"))
	s.feed("east-3", "1/tension", 352)
	s.feed("east-3", "1/payout", -0.25)
	s.feed("east-3", "1/brake", 1)
	s.feed("east-3", "wind/speed", 7.5)
	s.feed("east-3", "wind/direction", 62)
	s.feed("east-3", "water/level", 2.5)
	s.feed("east-3", "ship/draft-fwd", 8.25)
	s.feed("east-3", "ship/draft-aft", 9)
	s.feed("east-3", "berth/watch", 1)
	s.raise("east-3", 1, detect.OverLimit, "1", "Line 1 is over its working load limit: slack it.")
	s.raise("east-3", 2, detect.LineParted, "2", "Line 2 parted.")
	s.wait(3 * time.Second)

	resp, page := s.get("/")
	if resp.StatusCode != http.StatusOK || resp.Header.Get("Content-Type") != "text/html; charset=utf-8" {
		t.Fatalf("answer: %v", resp)
	}
	says(t, page,
		"The whole mooring deck is dangerous: lines recoil without warning. Figures are estimates, not permission. "+
			"Follow the ship's and terminal's procedures, local rules and licensed practice.",
		"2 active alarms, 2 not taken on",
		"Emergency Line parted Line 2, head line Line 2 parted. east-3 · raised 1 Mar 2026, 05:00:00 UTC · 12.5 kN, held against 320 kN Acknowledge",
		"Heron & <Daughters> at east-3 Live",
		"Mooring under watch Wind 7.5 m/s from 062° Water level 2.50 m Draft fwd / aft 8.25 / 9.00 m",
		// By hand: 352/640 = 55 %, limit 0.50 of MBL for fibre and 0.55 for wire (MEG 4th edition).
		"Head lines 1 Over limit 352 55 % over limit 50 % Set −0.25 m Good 3 s ago",
		"Forward springs 2 Line parted nothing else of it is told – – limit 55 % On bitts Silent",
		"Stern lines 3 – – limit 50 % On bitts No load pin",
	)
	if worst, next := strings.Index(page, "Line 2 parted."), strings.Index(page, "slack it"); worst > next {
		t.Error("the emergency is not first")
	}
	// The bar: 55 % wide with the mark at half, over its limit.
	if !strings.Contains(page, `<svg class="bar over"`) || !strings.Contains(page, `class="fill" y="2" width="55.0"`) ||
		!strings.Contains(page, `class="limit" x="50.0"`) {
		t.Error("the bar is drawn wrongly")
	}
}

// What is held back is on the page, and why: one cause, one alarm.
func TestPageSaysWhatIsHeldBack(t *testing.T) {
	s := newStation(t, nil)
	s.board.SetPlan("east-3", plan("east-3"))
	s.feed("east-3", "1/tension", 95)
	s.feed("east-3", "1/brake", 0)
	s.feed("east-3", "berth/watch", 0)
	s.raise("east-3", 1, detect.SensorFault, "2", "Line 2's load pin has no signal.")
	_, page := s.get("/")
	says(t, page, "Mooring arriving or leaving: alarms are held back",
		"1 worked by hand: nothing of its load is told 95", "2 Sensor fault nothing of its load is told –")
}

// The content security policy allows no inline script or style, so there must be
// none, and nothing from elsewhere.
func TestPageKeepsToItsPolicy(t *testing.T) {
	s := newStation(t, nil)
	s.board.SetPlan("east-3", plan("east-3"))
	s.feed("east-3", "1/tension", 95)
	s.raise("east-3", 1, detect.OverLimit, "1", `<script>alert("x")</script><img src=x onerror=y>`)
	resp, page := s.get("/")
	csp := resp.Header.Get("Content-Security-Policy")
	for _, want := range []string{"default-src 'none'", "script-src 'self'", "style-src 'self'", "connect-src 'self'", "form-action 'self'", "frame-ancestors 'none'", "base-uri 'none'"} {
		if !strings.Contains(csp, want) {
			t.Errorf("policy lacks %q", want)
		}
	}
	if strings.Contains(csp, "unsafe") || resp.Header.Get("X-Content-Type-Options") != "nosniff" {
		t.Errorf("headers: %v", resp.Header)
	}
	for _, bad := range []string{`(?i)<script(?:\s[^>]*)?>[^<]`, `(?i)<style`, `(?i)<[a-z]+[^>]*\sstyle=`, `(?i)<[a-z]+[^>]*\son[a-z]+=`, `(?i)(?:src|href)="(?:https?:)?//`, `javascript:`} {
		if found := regexp.MustCompile(bad).FindString(page); found != "" {
			t.Errorf("the page has %q", found)
		}
	}
	if !strings.Contains(page, `&lt;script&gt;`) {
		t.Error("the detail is not on the page, escaped")
	}
	for _, name := range regexp.MustCompile(`(?:src|href)="(/assets/[^"]+)"`).FindAllStringSubmatch(page, -1) {
		asset, body := s.get(name[1])
		if asset.StatusCode != http.StatusOK || regexp.MustCompile(`(?i)https?://[^w]|@import|url\(`).MatchString(body) {
			t.Errorf("%s: %d, or it fetches from elsewhere", name[1], asset.StatusCode)
		}
		req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, s.server.URL+name[1], nil)
		must(t, err)
		req.Header.Set("If-None-Match", asset.Header.Get("ETag"))
		if again, _ := s.do(req); again.StatusCode != http.StatusNotModified {
			t.Errorf("%s: %d when asked for again", name[1], again.StatusCode)
		}
	}
}

func TestDeadLinkIsNotShownAsLive(t *testing.T) {
	s := newStation(t, nil)
	s.board.SetPlan("east-3", plan("east-3"))
	_, page := s.get("/")
	says(t, page, "Not live: no readings yet")
	s.feed("east-3", "1/tension", 95)
	s.wait(125 * time.Second)
	_, page = s.get("/")
	says(t, page, "Not live: nothing came in for 2 min 5 s", "1 95 15 % limit 50 % Not told Silent 2 min 5 s ago")
	if strings.Contains(page, `class="state live"`) || !strings.Contains(page, `<section class="berth old"`) || !strings.Contains(page, `<tr data-key="1" class="old">`) {
		t.Error("old figures are not marked so")
	}
}

func TestNothingUnderWatchYet(t *testing.T) {
	s := newStation(t, nil)
	_, page := s.get("/")
	says(t, page, "No active alarms", "No berth is under watch yet.")
}

func TestManyBerthsAreListedAndOneIsChosen(t *testing.T) {
	s := newStation(t, nil)
	for _, berth := range []string{"a-1", "b-2", "c-3", "d-4"} {
		s.board.SetPlan(berth, plan(berth))
	}
	s.feed("b-2", "2/tension", 250)
	s.raise("b-2", 1, detect.Imbalance, "2", "Line 2 carries more than the others.")
	s.raise("a-1", 2, detect.LineParted, "1", "Line 1 parted.")
	must(t, s.alarms.RaiseOwn(t.Context(), alarm.Own{Condition: "journal-pressure", Priority: detect.Warning, Detail: "The disk is nearly full."}))

	_, page := s.get("/")
	says(t, page, "b-2 Heron & <Daughters> 1, worst: warning line 2, 25 % Live", "a-1 Heron & <Daughters> 1, worst: emergency – Not live: no readings yet")
	if strings.Contains(page, `<table class="lines">`) {
		t.Error("four berths are shown in full at once")
	}
	_, page = s.get("/?berth=b-2")
	says(t, page, "at b-2", "Line 2 carries more", "This server · raised", "1, worst: emergency")
	if strings.Contains(page, "Line 1 parted.") || strings.Count(page, `<table class="lines">`) != 1 || !strings.Contains(page, `aria-current="page"`) {
		t.Error("the page is not of the berth chosen")
	}
	resp, page := s.get("/?berth=z-9")
	if resp.StatusCode != http.StatusNotFound {
		t.Errorf("unknown berth: %d", resp.StatusCode)
	}
	says(t, page, `No such berth no berth "z-9" is under watch here`)
}

func TestClearedAlarmsSayWhoTookThemOn(t *testing.T) {
	s := newStation(t, nil)
	id := s.raise("east-3", 1, detect.SnapLoad, "1", "Line 1 snapped tight.")
	_, err := s.alarms.Acknowledge(t.Context(), id, alarm.Person{By: "Bosun"}, "")
	must(t, err)
	s.raise("east-3", 2, detect.SnapLoad, "2", "Line 2 snapped tight.")
	s.wait(time.Minute)
	must(t, s.alarms.Reconcile(t.Context(), "east-3", 3, nil, "plan replaced"))
	_, page := s.get("/")
	says(t, page, "No active alarms", "Cleared lately",
		"Snap load Line 1, head line Alarm · east-3 · raised 1 Mar 2026, 05:00:00 UTC , cleared 1 Mar 2026, 05:01:00 UTC · taken on by Bosun, terminal",
		"Snap load Line 2, head line Alarm · east-3 · raised 1 Mar 2026, 05:00:00 UTC , cleared 1 Mar 2026, 05:01:00 UTC Acknowledge")
}

func TestBerthsAsJSON(t *testing.T) {
	s := newStation(t, nil)
	s.board.SetPlan("east-3", plan("east-3"))
	s.board.SetPlan("west-1", plan("west-1"))
	s.feed("east-3", "1/tension", 95)
	resp, body := s.get("/api/berths?berth=east-3")
	var got hawserv1.ListBerthsResponse
	if err := protojson.Unmarshal([]byte(body), &got); err != nil || resp.Header.Get("Content-Type") != "application/json" {
		t.Fatalf("%v: %s", err, body)
	}
	if len(got.Berths) != 1 || got.Berths[0].Lines[0].GetTensionKn() != 95 {
		t.Errorf("berths: %v", &got)
	}
}

func TestUnknownPathsAndMethods(t *testing.T) {
	s := newStation(t, nil)
	for path, want := range map[string]int{"/nothing": 404, "/assets/": 404, "/assets/style": 404, "/acknowledge": 405} {
		if resp, _ := s.get(path); resp.StatusCode != want {
			t.Errorf("%s: %d, want %d", path, resp.StatusCode, want)
		}
	}
}

func TestOptionsAreChecked(t *testing.T) {
	if _, err := web.New(web.Options{}); err == nil {
		t.Error("a site over nothing")
	}
}
