package plans_test

import (
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hawser/detect/mooring"
	"hawser/ingest/journal"
	"hawser/ingest/planbook"
	"hawser/ingest/planfile"
	"hawser/services/plans"
)

// desk is the routes on a real listener over a real journal, with the tanker's berth
// under its plan.
type desk struct {
	t       *testing.T
	url     string
	book    *planbook.Book
	inForce []string
}

const tankerBerth = "north-jetty-1"

func planText(t *testing.T, name string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "plans", name+".yaml"))
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

func open(t *testing.T, access plans.Access) *desk {
	t.Helper()
	j, err := journal.Open(t.Context(), journal.Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	d := &desk{t: t}
	if d.book, err = planbook.Open(t.Context(), j, nil); err != nil {
		t.Fatal(err)
	}
	_, m, err := planfile.Parse("", []byte(planText(t, "tanker-12")))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := d.book.Put(t.Context(), m, planbook.Terms{By: "plan file"}); err != nil {
		t.Fatal(err)
	}
	x, err := plans.New(plans.Options{Book: d.book, Access: access, Log: slog.New(slog.DiscardHandler),
		InForce: func(berth string, p *mooring.Plan) { d.inForce = append(d.inForce, berth+" "+p.Ship.Name) }})
	if err != nil {
		t.Fatal(err)
	}
	mux := http.NewServeMux()
	for pattern, h := range x.Routes() {
		mux.Handle(pattern, h)
	}
	srv := httptest.NewServer(mux)
	d.url = srv.URL
	t.Cleanup(func() {
		srv.Close()
		if err := j.Close(); err != nil {
			t.Error(err)
		}
	})
	return d
}

// ask makes a request and reads the answer's JSON where into is not nil.
func (d *desk) ask(method, path, body string, into any, headers ...string) (code int, text string) {
	d.t.Helper()
	req, err := http.NewRequestWithContext(d.t.Context(), method, d.url+path, strings.NewReader(body))
	if err != nil {
		d.t.Fatal(err)
	}
	for i := 0; i < len(headers); i += 2 {
		req.Header.Set(headers[i], headers[i+1])
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		d.t.Fatal(err)
	}
	defer resp.Body.Close()
	data, err := io.ReadAll(resp.Body)
	if err != nil {
		d.t.Fatal(err)
	}
	if into != nil {
		if err := json.Unmarshal(data, into); err != nil {
			d.t.Fatalf("%s %s: %d %s", method, path, resp.StatusCode, data)
		}
	}
	return resp.StatusCode, strings.TrimSpace(string(data))
}

// The geometry is the plan file's own figures, and lengths and limits by hand: line
// 1 of the tanker runs from (85, 6.5, 15.2) to (122, -32, 6), so 54.2 m, and takes
// half of its 660 kN.
func TestGeometry(t *testing.T) {
	d := open(t, nil)
	var g plans.Geometry
	if code, text := d.ask("GET", "/api/plan?berth="+tankerBerth, "", &g); code != http.StatusOK {
		t.Fatalf("%d %s", code, text)
	}
	if g.Ship.Name != "Heron of Aldmouth" || g.Ship.LoaM != 183 || g.Ship.BeamM != 32.2 || g.Side != "starboard" || g.HeadingDeg != 318 ||
		len(g.Lines) != 12 || len(g.Fenders) != 4 || g.Fenders[0].XM != -42 || g.Centre[1] != 16.1 || g.Since == nil {
		t.Errorf("geometry: %+v", g)
	}
	l := g.Lines[0]
	length := math.Sqrt(37*37 + 38.5*38.5 + 9.2*9.2)
	if l.ID != "1" || l.Group != "head" || l.Hook != [3]float64{122, -32, 6} || l.Fairlead != [3]float64{85, 6.5, 15.2} ||
		math.Abs(l.LengthM-length) > 1e-9 || l.WorkingLoadKN != 330 || l.ApproachKN != 264 || l.MadeFast != "winch" || !l.Instrumented {
		t.Errorf("line 1: %+v, want %.2f m", l, length)
	}
	if code, _ := d.ask("GET", "/api/plan?berth=nowhere", "", nil); code != http.StatusNotFound {
		t.Errorf("unknown berth: %d", code)
	}
	if code, _ := d.ask("GET", "/api/plan?berth="+tankerBerth+"&version=0123456789abcdef", "", nil); code != http.StatusNotFound {
		t.Errorf("unknown version: %d", code)
	}
}

type findings struct {
	Plan    string
	InForce string `json:"in_force"`
	Faults  []struct {
		Line, Col  int
		Path, Want string
	}
	Remarks  []struct{ Severity, Text, Rule string }
	Geometry *plans.Geometry
	Changes  []planfile.Difference
}

func TestCheck(t *testing.T) {
	d := open(t, nil)
	text := planText(t, "tanker-12")
	const path = "/api/plan/check?berth=" + tankerBerth
	for name, c := range map[string]struct {
		text  string
		look  func(f *findings) bool
		where string
	}{
		"as it is in force": {text, func(f *findings) bool {
			return len(f.Faults) == 0 && len(f.Changes) == 0 && f.Geometry != nil && f.Plan == f.InForce && len(f.Remarks) > 0
		}, path},
		"a line made stronger": {strings.Replace(text, "mbl_kN: 660", "mbl_kN: 700", 1), func(f *findings) bool {
			// By the anchor it is every line's.
			return len(f.Changes) == 12 && f.Changes[0] == planfile.Difference{Line: "1", Path: "mbl_kN", Was: "660", Is: "700"} && f.Plan != f.InForce
		}, path},
		"a beam of nothing": {strings.Replace(text, "beam_m: 32.2", "beam_m: 0", 1), func(f *findings) bool {
			return len(f.Faults) == 1 && f.Faults[0].Line == 7 && f.Faults[0].Col == 11 && f.Faults[0].Path == "ship.beam_m" && f.Geometry == nil && f.Plan == ""
		}, path},
		"no YAML":       {"lines: [", func(f *findings) bool { return len(f.Faults) == 1 && f.Faults[0].Line == 1 }, path},
		"another berth": {planText(t, "coaster-8"), func(f *findings) bool { return len(f.Faults) == 1 && f.Faults[0].Path == "berth" }, path},
		"any berth":     {planText(t, "coaster-8"), func(f *findings) bool { return len(f.Faults) == 0 && f.InForce == "" && len(f.Geometry.Lines) == 8 }, "/api/plan/check"},
	} {
		var f findings
		code, answer := d.ask("POST", c.where, c.text, &f)
		if code != http.StatusOK || !c.look(&f) {
			t.Errorf("%s: %d %s", name, code, answer)
		}
	}
	if code, answer := d.ask("POST", path, strings.Repeat("#", planfile.MaxBytes+1), nil); code != http.StatusRequestEntityTooLarge {
		t.Errorf("too long: %d %s", code, answer)
	}
}

// A plan comes into force whole, under its writer's name, in place of the one they
// had before them; and what it was can be had again and put back.
func TestPut(t *testing.T) {
	d := open(t, nil)
	was, _ := d.book.Current(tankerBerth)
	path := "/api/plan?berth=" + tankerBerth + "&by=J.+Alder"
	changed := strings.Replace(planText(t, "tanker-12"), "pretension_kN: 100", "pretension_kN: 110", 1)
	for name, c := range map[string]struct {
		path, text, inPlaceOf string
		code                  int
	}{
		"nobody":       {"/api/plan?berth=" + tankerBerth, changed, was.Fingerprint, http.StatusBadRequest},
		"no berth":     {"/api/plan?by=J.+Alder", changed, was.Fingerprint, http.StatusBadRequest},
		"unseen":       {path, changed, "", http.StatusPreconditionRequired},
		"seen another": {path, changed, "0123456789abcdef", http.StatusPreconditionFailed},
		"faulty":       {path, strings.Replace(changed, "beam_m: 32.2", "beam_m: 0", 1), was.Fingerprint, http.StatusUnprocessableEntity},
		"other berth":  {path, planText(t, "coaster-8"), was.Fingerprint, http.StatusUnprocessableEntity},
		"long name":    {path + strings.Repeat("r", 200), changed, was.Fingerprint, http.StatusBadRequest},
	} {
		if code, answer := d.ask("PUT", c.path, c.text, nil, "If-Match", `"`+c.inPlaceOf+`"`); code != c.code {
			t.Errorf("%s: %d %s, want %d", name, code, answer, c.code)
		}
	}
	if now, _ := d.book.Current(tankerBerth); now.Fingerprint != was.Fingerprint || d.inForce != nil {
		t.Fatalf("a refused plan is in force")
	}
	var f findings
	if code, answer := d.ask("PUT", path, changed, &f, "If-Match", `"`+was.Fingerprint+`"`); code != http.StatusOK {
		t.Fatalf("%d %s", code, answer)
	}
	now, _ := d.book.Current(tankerBerth)
	if now.Fingerprint != f.Plan || now.Fingerprint == was.Fingerprint || now.Plan.Lines[0].PretensionKN != 110 || len(d.inForce) != 1 {
		t.Errorf("in force: %s, told %s, %v", now.Fingerprint, f.Plan, d.inForce)
	}
	var listed struct {
		InForce  string `json:"in_force"`
		Versions []planbook.Version
	}
	if code, answer := d.ask("GET", "/api/plan/versions?berth="+tankerBerth, "", &listed); code != http.StatusOK || listed.InForce != now.Fingerprint ||
		len(listed.Versions) != 2 || listed.Versions[0].By != "J. Alder" || listed.Versions[1].By != "plan file" || listed.Versions[1].Fingerprint != was.Fingerprint {
		t.Fatalf("versions: %d %s", code, answer)
	}
	_, before := d.ask("GET", "/api/plan/text?berth="+tankerBerth+"&version="+was.Fingerprint, "", nil)
	if code, answer := d.ask("PUT", path, before, nil, "If-Match", `"`+now.Fingerprint+`"`); code != http.StatusOK {
		t.Fatalf("put back: %d %s", code, answer)
	}
	if again, _ := d.book.Current(tankerBerth); again.Fingerprint != was.Fingerprint {
		t.Errorf("put back: %s, want %s", again.Fingerprint, was.Fingerprint)
	}
	// A page from elsewhere may not.
	if code, _ := d.ask("PUT", path, changed, nil, "If-Match", was.Fingerprint, "Sec-Fetch-Site", "cross-site"); code != http.StatusForbidden {
		t.Errorf("from another site: %d", code)
	}
}

// crew are of one ship, there since a time.
type crew struct {
	ship  string
	since time.Time
}

func (c *crew) Sees(context.Context, string) (time.Time, bool) { return c.since, true }
func (c *crew) SeesShip(_ context.Context, _, ship string) bool {
	return ship == c.ship
}
func (c *crew) Signed(_ context.Context, by string) (string, string, bool) {
	return by + " (crew of " + c.ship + ")", "operate", true
}

// A crew sees the versions of their own ship's plan since she came, and no plan of
// the ship that lay there before.
func TestCrewSeeTheirOwn(t *testing.T) {
	c := &crew{ship: "Curlew"}
	d := open(t, c)
	was, _ := d.book.Current(tankerBerth)
	if code, answer := d.ask("GET", "/api/plan?berth="+tankerBerth, "", nil); code != http.StatusNotFound {
		t.Errorf("another ship's plan: %d %s", code, answer)
	}
	text := strings.Replace(planText(t, "tanker-12"), "Heron of Aldmouth", "Curlew", 1)
	_, m, err := planfile.Parse("", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	now, err := d.book.Put(t.Context(), m, planbook.Terms{Replace: true, By: "terminal"})
	if err != nil {
		t.Fatal(err)
	}
	c.since = now.Since
	var listed struct{ Versions []planbook.Version }
	if code, answer := d.ask("GET", "/api/plan/versions?berth="+tankerBerth, "", &listed); code != http.StatusOK || len(listed.Versions) != 1 || listed.Versions[0].Ship != "Curlew" {
		t.Errorf("versions: %d %s", code, answer)
	}
	for _, path := range []string{"/api/plan", "/api/plan/text"} {
		if code, answer := d.ask("GET", path+"?berth="+tankerBerth+"&version="+was.Fingerprint, "", nil); code != http.StatusNotFound {
			t.Errorf("%s of the ship before: %d %s", path, code, answer)
		}
		if code, answer := d.ask("GET", path+"?berth="+tankerBerth, "", nil); code != http.StatusOK {
			t.Errorf("%s of their own: %d %s", path, code, answer)
		}
	}
	if code, answer := d.ask("PUT", "/api/plan?berth="+tankerBerth+"&by=B.+Mate", strings.Replace(text, "pretension_kN: 100", "pretension_kN: 110", 1), nil, "If-Match", now.Fingerprint); code != http.StatusOK {
		t.Fatalf("put: %d %s", code, answer)
	}
	if versions, err := d.book.Versions(t.Context(), tankerBerth); err != nil || versions[0].By != "B. Mate (crew of Curlew)" {
		t.Errorf("on record: %+v, %v", versions, err)
	}
}
