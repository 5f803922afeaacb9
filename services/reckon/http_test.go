package reckon_test

import (
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"hawser/detect/mooring"
	"hawser/detect/reading"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/live"
	"hawser/services/reckon"
)

// serveHTTP is the routes on a real listener, over one berth that sends these loads.
func serveHTTP(t *testing.T, plan *mooring.Plan, loads map[string]float64, access live.Access) *httptest.Server {
	t.Helper()
	board, err := live.New(live.Options{Registerer: prometheus.NewRegistry()})
	if err != nil {
		t.Fatal(err)
	}
	board.SetPlan(plan.Berth, plan)
	now := time.Now()
	b := &reading.Block{Sequence: 1}
	for id, kN := range loads {
		b.Series = append(b.Series, reading.Series{Channel: reading.Channel{Line: id, Kind: reading.Tension}, Time: []int64{now.UnixNano()}, Value: []float64{kN}})
	}
	if loads != nil {
		board.Update(plan.Berth, now, b)
	}
	r, err := reckon.New(reckon.Options{Board: board, Berths: func() []string { return []string{plan.Berth} }, Alarms: nobody{},
		Log: slog.New(slog.DiscardHandler), Registerer: prometheus.NewRegistry()})
	if err != nil {
		t.Fatal(err)
	}
	if err := r.Round(t.Context(), now); err != nil {
		t.Fatal(err)
	}
	mux := http.NewServeMux()
	for pattern, h := range reckon.Routes(reckon.NewService(r, access), slog.New(slog.DiscardHandler)) {
		mux.Handle(pattern, h)
	}
	srv := httptest.NewServer(mux)
	t.Cleanup(srv.Close)
	return srv
}

func get(t *testing.T, url string, into any) (code int, body string) {
	t.Helper()
	resp, err := http.Get(url)
	code, body = answer(t, resp, err)
	if into != nil {
		if err := json.Unmarshal([]byte(body), into); err != nil {
			t.Fatalf("%s: %v in %s", url, err, body)
		}
	}
	return code, body
}

func answer(t *testing.T, resp *http.Response, err error) (code int, body string) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	data, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return resp.StatusCode, strings.TrimSpace(string(data))
}

// Four like lines straight off the quay, two forward and two aft, at 20 kN each: the
// force off the quay stays, so by moments about the other pair whichever line is
// lost leaves its neighbour both their loads, 40 kN of 100.
func TestRoutes(t *testing.T) {
	srv := serveHTTP(t, fourAbreast("east-3"), map[string]float64{"1": 20, "2": 20, "3": 20, "4": 20}, nil)
	type losses []struct {
		Lost  []string
		Holds bool
		Worst struct {
			Line       string
			TensionKn  float64
			ShareOfMbl float64
		}
	}
	var assessed struct {
		Converged     bool
		MeasuredLines int
		Lines         []struct{ TensionKn, LowKn, HighKn float64 }
		Losses        losses
		Ahead         []struct {
			Time      time.Time
			TensionKn []float64
		}
		Settles bool
	}
	if code, body := get(t, srv.URL+"/api/assess?berth=east-3&hours=24&tending=true", &assessed); code != http.StatusOK {
		t.Fatalf("%d %s", code, body)
	}
	if !assessed.Converged || assessed.MeasuredLines != 4 || len(assessed.Lines) != 4 || len(assessed.Losses) != 4 || !assessed.Settles {
		t.Fatalf("answer: %+v", assessed)
	}
	for _, l := range assessed.Lines {
		if math.Abs(l.TensionKn-20) > 0.1 || l.LowKn > l.TensionKn || l.HighKn < l.TensionKn {
			t.Errorf("line: %+v", l)
		}
	}
	if n := len(assessed.Ahead); n != 24*12+1 || assessed.Ahead[n-1].Time.Sub(assessed.Ahead[0].Time) != 24*time.Hour {
		t.Errorf("%d moments ahead", n)
	}
	var listed struct{ Berths []struct{ Losses losses } }
	if code, body := get(t, srv.URL+"/api/losses?berth=east-3", &listed); code != http.StatusOK || len(listed.Berths) != 1 {
		t.Fatalf("%d %s", code, body)
	}
	neighbour := map[string]string{"1": "2", "2": "1", "3": "4", "4": "3"}
	for _, all := range []losses{assessed.Losses, listed.Berths[0].Losses} {
		for _, l := range all {
			if !l.Holds || math.Abs(l.Worst.TensionKn-40) > 1 || l.Worst.Line != neighbour[l.Lost[0]] {
				t.Errorf("loss: %+v", l)
			}
		}
	}
}

func TestRoutesRefuse(t *testing.T) {
	live := serveHTTP(t, fourAbreast("east-3"), map[string]float64{"1": 20, "2": 20, "3": 20, "4": 20}, nil)
	silent := serveHTTP(t, fourAbreast("east-3"), nil, nil)
	other := serveHTTP(t, fourAbreast("east-3"), map[string]float64{"1": 20, "2": 20, "3": 20, "4": 20}, ashore{})
	for name, c := range map[string]struct {
		srv  *httptest.Server
		url  string
		code int
		says string
	}{
		"not live":    {silent, "/api/assess?berth=east-3", http.StatusConflict, "not live"},
		"not seen":    {other, "/api/assess?berth=east-3", http.StatusForbidden, "not yours"},
		"no berth":    {live, "/api/assess", http.StatusBadRequest, "berth"},
		"long":        {live, "/api/assess?berth=east-3&hours=1000", http.StatusBadRequest, "hours"},
		"no number":   {live, "/api/assess?berth=east-3&hours=soon", http.StatusBadRequest, "hours"},
		"no truth":    {live, "/api/assess?berth=east-3&tending=some", http.StatusBadRequest, "tending"},
		"no count":    {live, "/api/assess?berth=east-3&wind=-1", http.StatusBadRequest, "wind"},
		"twice":       {live, "/api/assess?berth=east-3&berth=east-4", http.StatusBadRequest, "2 times"},
		"unknown":     {live, "/api/assess?berth=east-3&day=1", http.StatusBadRequest, "no such parameter"},
		"bad berth":   {live, "/api/losses?berth=EAST", http.StatusBadRequest, "berth"},
		"nothing yet": {silent, "/api/losses", http.StatusOK, `"berths":[]`},
		"none seen":   {other, "/api/losses", http.StatusOK, `"berths":[]`},
	} {
		code, body := get(t, c.srv.URL+c.url, nil)
		if body = strings.ReplaceAll(body, " ", ""); code != c.code || !strings.Contains(body, strings.ReplaceAll(c.says, " ", "")) {
			t.Errorf("%s: %d %s", name, code, body)
		}
	}
}

// A plan that is sent is assessed in the wind that is asked about, as by gRPC: off the
// quay, the harder it blows the more do the breast lines carry. What is wrong with a
// wind is told in the words of the schema, and with a plan at its place.
func TestPlanInAWind(t *testing.T) {
	srv := serveHTTP(t, fourAbreast("east-3"), nil, nil)
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "plans", "tanker-12.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	p, plan := loadPlan(t, "tanker-12")
	client, _ := serve(t, p, nil, nil)
	asked := func(query, body string) (int, string) {
		t.Helper()
		resp, err := http.Post(srv.URL+"/api/plan/assess?"+query, "application/yaml", strings.NewReader(body))
		return answer(t, resp, err)
	}
	before := map[string]float64{}                                                                          // kN by line
	for _, wind := range []*hawserv1.Wind{{}, {SpeedMps: 10, FromDeg: 48}, {SpeedMps: 20.5, FromDeg: 48}} { // off the quay
		want, err := client.Assess(t.Context(), &hawserv1.AssessRequest{Mooring: &hawserv1.AssessRequest_Plan{Plan: plan}, Wind: wind})
		if err != nil {
			t.Fatal(err)
		}
		code, body := asked(fmt.Sprintf("speed=%v&from=%v", wind.SpeedMps, wind.FromDeg), string(text))
		var got hawserv1.AssessResponse
		if err := protojson.Unmarshal([]byte(body), &got); code != http.StatusOK || err != nil {
			t.Fatalf("%d %v %.300s", code, err, body)
		}
		if !proto.Equal(&got, want) || got.MeasuredLines != 0 || !proto.Equal(got.Wind, wind) {
			t.Errorf("in %v: %v\nwant %v", wind, &got, want)
		}
		for _, l := range got.Lines {
			if harder := l.TensionKn > before[l.Line]; !harder && slices.Contains([]string{"3", "4", "9", "10"}, l.Line) {
				t.Errorf("in %v breast line %s carries %.1f kN, in less wind %.1f", wind, l.Line, l.TensionKn, before[l.Line])
			}
			before[l.Line] = l.TensionKn
		}
	}
	for _, c := range []struct {
		query, body string
		code        int
		says        string
	}{
		{"speed=90&from=0", string(text), 400, "wind.speed_mps: must be greater than or equal to 0 and less than or equal to 80"},
		{"speed=-1&from=0", string(text), 400, "wind.speed_mps: must be greater than or equal to 0 and less than or equal to 80"},
		{"speed=NaN&from=0", string(text), 400, "wind.speed_mps: must be greater than or equal to 0 and less than or equal to 80"},
		{"speed=20&from=361", string(text), 400, "wind.from_deg: must be greater than or equal to 0 and less than or equal to 360"},
		{"speed=fresh&from=0", string(text), 400, "speed: must be a number"},
		{"speed=20", string(text), 400, "from: must be given"},
		{"speed=20&from=0&gusts=true", string(text), 400, "gusts: no such parameter"},
		{"speed=20&from=0", strings.Replace(string(text), "beam_m: 32.2", "beam_m: wide", 1), 422, "ship.beam_m"},
		{"speed=20&from=0", "", 422, "must hold a plan"},
		{"speed=20&from=0", strings.Repeat("#", 257<<10), 413, "a plan is at most 256 KiB"},
	} {
		if code, body := asked(c.query, c.body); code != c.code || !strings.Contains(body, c.says) {
			t.Errorf("%s of %.20q: %d %.300s, want %d that says %s", c.query, c.body, code, body, c.code, c.says)
		}
	}
}
