package web_test

import (
	"crypto/sha256"
	"encoding/base64"
	"html"
	"io"
	"math"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/klauspost/compress/gzip"
	"google.golang.org/protobuf/encoding/protojson"

	"hawser/detect"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/alarm"
	"hawser/services/web"
)

// text is what a page says, without its markup, style and script.
func text(page string) string {
	page = regexp.MustCompile(`(?s)<(script|style)[^>]*>.*?</(script|style)>`).ReplaceAllString(page, " ")
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

// A berth's pages are of it alone, with the words of their drawing; a plan's page is
// there before the berth.
func TestPagesOfABerth(t *testing.T) {
	s := newStation(t, nil)
	s.board.SetPlan("east-3", plan("east-3"))
	s.board.SetPlan("west-1", plan("west-1"))
	for path, want := range map[string]struct {
		code  int
		berth string
		says  string
	}{
		"/berth/east-3":  {http.StatusOK, "east-3", ""},
		"/plan/east-3":   {http.StatusOK, "east-3", ""},
		"/berth/nowhere": {http.StatusNotFound, "nowhere", "nowhere"},
		"/plan/nowhere":  {http.StatusOK, "nowhere", ""},
	} {
		resp, page := s.get(path)
		got := setupOf(t, page)
		if resp.StatusCode != want.code || got.Berth != want.berth {
			t.Errorf("%s: %d, of berth %q", path, resp.StatusCode, got.Berth)
		}
		if want.code != http.StatusOK {
			says(t, page, want.says)
			continue
		}
		if got.Words["drawing"]["form.parted"] != "parted" || !strings.Contains(page, `<title>`+want.berth+" – ") ||
			!strings.Contains(page, `<a href="`+path+`" aria-current="page">`) {
			t.Errorf("%s: words %d, title or link wrong", path, len(got.Words["drawing"]))
		}
		if names := got.Whole.Names; want.berth == "east-3" && (len(names) != 1 || names[0] != "east-3") {
			t.Errorf("%s: has %q", path, names)
		}
	}
}

// The picture as it is lies in the page itself.
func TestPageHasThePicture(t *testing.T) {
	s := newStation(t, nil)
	stricter := plan("east-3")
	stricter.Limits.ApproachFraction, stricter.Limits.ImbalanceRatio, stricter.Limits.ImbalanceFloor = 0.6, 1.3, 0.1
	s.board.SetPlan("east-3", stricter)
	s.feed("east-3", "1/tension", 352)
	s.feed("east-3", "1/payout", -0.254)
	s.feed("east-3", "1/brake", 1)
	s.feed("east-3", "wind/speed", 7.5)
	s.feed("east-3", "berth/watch", 0)
	s.board.Shows("east-3", []float64{math.NaN(), math.Inf(1), 181.2})
	s.raise("east-3", 1, detect.OverLimit, "1", "Line 1 is over its working load limit.")
	s.raise("east-3", 2, detect.LineParted, "2", "Line 2 parted.")
	resp, page := s.get("/")
	if resp.StatusCode != http.StatusOK || resp.Header.Get("Content-Type") != "text/html; charset=utf-8" {
		t.Fatalf("answer: %v", resp)
	}
	says(t, page, "The whole mooring deck is dangerous: lines part and recoil without warning. Figures are estimates, not permission. "+
		"Follow the ship's and the terminal's procedures, local rules and licensed practice.")
	p := setupOf(t, page).Whole
	b := p.Berths["east-3"]
	if len(p.Names) != 1 || b == nil || b.Frame.Ship != "Heron & <Daughters>" || !b.Now.Live || *b.Now.Wind != 7.5 || *b.Now.Watch {
		t.Fatalf("picture: %+v", p)
	}
	// Working load limits: 0.50 of MBL for fibre and 0.55 for wire (MEG 4th edition).
	l := b.Frame.Lines
	if l[0].ID != "1" || l[0].Group != "head" || l[0].MBL != 640 || l[0].Limit != 320 || !l[0].Winch || !l[0].Pin || l[1].Limit != 550 || l[2].Pin {
		t.Errorf("lines: %+v", l)
	}
	// What stands out does so from where the plan has its alarms begin.
	if f := b.Frame; f.Near != 0.6 || f.Uneven != 1.3 || f.Floor != 0.1 {
		t.Errorf("limits of the plan: %+v", f)
	}
	if one := b.Loads["1"]; *one.KN != 352 || one.Sensor != "good" || *one.Payout != -0.25 || !*one.Brake || one.At != p.At {
		t.Errorf("line 1: %+v", one)
	}
	if two := b.Loads["2"]; two.KN != nil || two.Brake != nil || two.Sensor != "silent" || b.Loads["3"].Sensor != "none" {
		t.Errorf("line 2: %+v, line 3: %+v", two, b.Loads["3"])
	}
	for id, from := range map[string]float64{"1": math.NaN(), "2": math.Inf(1), "3": 181.2} {
		if l := b.Loads[id]; l.Hidden != math.IsInf(from, 1) || (l.Shown != nil) != (from < 1000) || l.Shown != nil && *l.Shown != 182 {
			t.Errorf("line %s, its parting shown from %v kN: %+v", id, from, l)
		}
	}
	a := p.Alarms.List
	if len(a) != 2 || a[0].Condition != "line-parted" || a[0].Priority != "emergency" || a[0].State != "active-unacknowledged" || a[1].Condition != "over-limit" {
		t.Errorf("alarms: %+v", a)
	}
}

// A page is let to do what its own style and script do, and nothing else; what
// comes in as text stays text.
func TestPageKeepsToItsPolicy(t *testing.T) {
	s := newStation(t, func(o *web.Options, _ *http.Server) { o.Performance = &measured{} })
	s.board.SetPlan("east-3", plan("east-3"))
	s.raise("east-3", 1, detect.OverLimit, "1", `</script><script>alert("x")</script><img src=x onerror=y>`)
	for _, path := range []string{"/", "/performance", "/?berth=nowhere"} {
		resp, page := s.get(path)
		csp := resp.Header.Get("Content-Security-Policy")
		for _, want := range []string{"default-src 'none'", "connect-src 'self'", "form-action 'self'", "frame-ancestors 'none'", "base-uri 'none'", "trusted-types 'none'"} {
			if !strings.Contains(csp, want) {
				t.Errorf("%s: policy lacks %q", path, want)
			}
		}
		if strings.Contains(csp, "unsafe") || resp.Header.Get("X-Content-Type-Options") != "nosniff" {
			t.Errorf("%s: headers: %v", path, resp.Header)
		}
		for tag, part := range map[string]string{"style": "style-src", "script": "script-src"} {
			inline := regexp.MustCompile(`(?s)<`+tag+`>(.*?)</`+tag+`>`).FindAllStringSubmatch(page, -1)
			if len(inline) != 1 {
				t.Fatalf("%s: %d of %s", path, len(inline), tag)
			}
			// By the definition: CSP Level 3, section 2.3.1.
			sum := sha256.Sum256([]byte(inline[0][1]))
			if want := part + " 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "';"; !strings.Contains(csp, want) {
				t.Errorf("%s: policy lacks %q: %s", path, want, csp)
			}
		}
		rest := regexp.MustCompile(`(?s)<(style|script)>.*?</(style|script)>`).ReplaceAllString(page, "")
		for _, bad := range []string{`(?i)<script(?:\s+src|>)`, `(?i)<style`, `(?i)<[a-z]+[^>]*\sstyle=`, `(?i)<[a-z]+[^>]*\son[a-z]+=`, `(?i)(?:src|href)="(?:https?:)?//`, `javascript:`} {
			if found := regexp.MustCompile(bad).FindString(rest); found != "" {
				t.Errorf("%s: the page has %q", path, found)
			}
		}
	}
	if got := s.look("/").Alarms.List[0].Detail; !strings.HasPrefix(got, "</script>") {
		t.Errorf("detail %q", got)
	}
}

// A page is sent compressed and needs nothing more to show its figures.
func TestPageIsCompressed(t *testing.T) {
	s := newStation(t, nil)
	s.board.SetPlan("east-3", plan("east-3"))
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, s.server.URL+"/", nil)
	must(t, err)
	req.Header.Set("Accept-Encoding", "gzip")
	resp, err := client().Do(req)
	must(t, err)
	defer resp.Body.Close()
	if got := resp.Header.Get("Content-Encoding"); got != "gzip" {
		t.Fatalf("content encoding %q", got)
	}
	zip, err := gzip.NewReader(resp.Body)
	must(t, err)
	page, err := io.ReadAll(zip)
	must(t, err)
	if p := setupOf(t, string(page)).Whole; len(p.Names) != 1 {
		t.Errorf("picture: %+v", p)
	}
}

func TestIconIsAskedForAgainAndSentOnce(t *testing.T) {
	s := newStation(t, nil)
	icon, _ := s.get("/assets/icon.svg")
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, s.server.URL+"/assets/icon.svg", nil)
	must(t, err)
	req.Header.Set("If-None-Match", icon.Header.Get("ETag"))
	if again, _ := s.do(req); icon.StatusCode != http.StatusOK || again.StatusCode != http.StatusNotModified {
		t.Errorf("%d, and %d when asked for again", icon.StatusCode, again.StatusCode)
	}
}

// What stopped coming in is not told as live, and since when.
func TestOldIsNotToldAsLive(t *testing.T) {
	s := newStation(t, nil)
	s.board.SetPlan("east-3", plan("east-3"))
	if b := s.look("/").Berths["east-3"]; b.Now.Live || b.Now.At != 0 {
		t.Errorf("before any reading: %+v", b.Now)
	}
	s.feed("east-3", "1/tension", 95)
	came := s.clock.Now().UnixMilli()
	s.clock.Move(125 * time.Second)
	p := s.look("/")
	b := p.Berths["east-3"]
	if b.Now.Live || b.Now.At != came || b.Loads["1"].At != came || b.Loads["1"].Sensor != "silent" || p.At-came != 125_000 {
		t.Errorf("two minutes later: %+v", b)
	}
}

func TestOneBerthOrAll(t *testing.T) {
	s := newStation(t, nil)
	for _, berth := range []string{"a-1", "b-2"} {
		s.board.SetPlan(berth, plan(berth))
	}
	s.raise("b-2", 1, detect.Imbalance, "2", "Line 2 carries more than the others.")
	s.raise("a-1", 2, detect.LineParted, "1", "Line 1 parted.")
	must(t, s.alarms.RaiseOwn(t.Context(), alarm.Own{Condition: "journal-pressure", Priority: detect.Warning, Detail: "The disk is nearly full."}))
	if p := s.look("/"); len(p.Names) != 2 || len(p.Alarms.List) != 3 {
		t.Errorf("all: %+v", p)
	}
	p := s.look("/?berth=b-2")
	if len(p.Names) != 1 || p.Berths["b-2"] == nil || len(p.Alarms.List) != 2 { // its own and the server's
		t.Errorf("one: %+v", p)
	}
	resp, page := s.get("/?berth=z-9")
	if resp.StatusCode != http.StatusNotFound {
		t.Errorf("unknown berth: %d", resp.StatusCode)
	}
	says(t, page, "No such berth No berth z-9 is under watch here.")
}

func TestAlarmsThatAreOver(t *testing.T) {
	s := newStation(t, nil)
	id := s.raise("east-3", 1, detect.SnapLoad, "1", "Line 1 snapped tight.")
	_, err := s.alarms.Acknowledge(t.Context(), id, alarm.Person{By: "Bosun"}, "")
	must(t, err)
	s.raise("east-3", 2, detect.SnapLoad, "2", "Line 2 snapped tight.")
	s.clock.Move(time.Minute)
	must(t, s.alarms.Reconcile(t.Context(), "east-3", 3, nil, nil, "The mooring plan was replaced."))
	state := map[string]string{}
	for _, a := range s.look("/").Alarms.List {
		state[a.Line] = a.State
		if a.Cleared-a.Raised != 60_000 {
			t.Errorf("line %s: raised %d, cleared %d", a.Line, a.Raised, a.Cleared)
		}
		if a.Over != "The mooring plan was replaced." || a.Returned != a.Cleared { // the clock stands still meanwhile
			t.Errorf("line %s: %q at %d", a.Line, a.Over, a.Returned)
		}
	}
	if state["1"] != "normal" || state["2"] != "returned-unacknowledged" {
		t.Errorf("states: %v", state)
	}
}

// Of many that are over and not acknowledged the gravest and newest are told, and how many
// more there are.
func TestMoreAlarmsThatAreOverThanAreTold(t *testing.T) {
	s := newStation(t, nil)
	s.raise("east-3", 1, detect.LineParted, "1", "Parted.")
	must(t, s.alarms.Reconcile(t.Context(), "east-3", 1, nil, nil, "The mooring plan was replaced."))
	for i := range 22 {
		s.raise("east-3", uint64(i+2), detect.SnapLoad, strconv.Itoa(i), "Snapped tight.")
	}
	must(t, s.alarms.Reconcile(t.Context(), "east-3", 30, nil, nil, "The mooring plan was replaced."))
	if a := s.look("/").Alarms; len(a.List) != 20 || a.MoreReturned != 3 || a.List[0].Condition != "line-parted" {
		t.Errorf("%d told, %d more", len(a.List), a.MoreReturned)
	}
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
