package web_test

import (
	"cmp"
	"net/http"
	"strings"
	"testing"
	"time"

	"hawser/detect"
	"hawser/services/alarm"
	"hawser/services/performance"
	"hawser/services/web"
)

// measured is a report made by hand.
type measured struct {
	berth  string
	period time.Duration
	raised int
	before *performance.Rates
	// mean and flood are other than 2.25 and 0.0125 where they are not 0.
	mean, flood float64
}

func (m *measured) Report(berth string, period time.Duration) performance.Report {
	m.berth, m.period = berth, period
	to := time.Date(2026, 3, 1, 5, 0, 0, 0, time.UTC)
	often := performance.Frequent{Subject: alarm.Subject{Berth: "east-3", Condition: "over-limit", Line: "2", Group: "stern"}, Raised: 4, Share: 0.25}
	r := performance.Report{Berth: berth, From: to.Add(-period), To: to, Began: to.Add(-30 * time.Minute),
		Rates: performance.Rates{Raised: m.raised, Mean: cmp.Or(m.mean, 2.25), Peak: 11, FloodPart: cmp.Or(m.flood, 0.0125)}, Before: m.before,
		Course: []performance.Step{{From: to.Add(-time.Hour), Raised: 3}, {From: to.Add(-50 * time.Minute), Raised: 12, Flooded: true}}, FrequentShare: 0.75,
		Frequent: []performance.Frequent{often}, Chattering: []performance.Frequent{often},
		Standing: []alarm.State{{Subject: alarm.Subject{Berth: "east-3", Condition: "slack-line", Line: "7"}, Priority: detect.Warning, Raised: to.Add(-48 * time.Hour)}}}
	r.ByPriority[detect.Warning] = 0.75
	return r
}

func TestPerformancePage(t *testing.T) {
	m := &measured{raised: 160, before: &performance.Rates{Mean: 1.5, Peak: 9, FloodPart: 0.25}}
	s := newStation(t, func(o *web.Options, _ *http.Server) { o.Performance = m })
	s.board.SetPlan("east-3", plan("east-3"))
	resp, page := s.get("/performance?period=1h&berth=east-3")
	if resp.StatusCode != http.StatusOK || m.berth != "east-3" || m.period != time.Hour {
		t.Fatalf("answer %d for %q over %s", resp.StatusCode, m.berth, m.period)
	}
	says(t, page, "How the alarms do at east-3 160 raised, 2026-03-01 04:00:00 UTC – 2026-03-01 05:00:00 UTC .",
		"Raised in ten minutes, on average 2.25 1.50 1 is acceptable, 2 the most to manage Worse",
		"Raised in ten minutes, at most 11 9 over 10 is a flood Worse", "Time in flood 1.2\u00a0% 25.0\u00a0% under 1\u00a0% Worse",
		"The ten most frequent, of all 75\u00a0% – under 5\u00a0%, once there are 100 Worse", "Coming and going 1 – none Worse", "Active for over a day 1 – under 5, each with a plan Met",
		"Warning 75\u00a0%", "Over limit Line 2, stern line east-3 4 25\u00a0%", "Slack line Line 7 Warning · east-3 · raised 2026-02-27 05:00:00 UTC")
	says(t, page, "Within that time all are counted from 2026-03-01 04:30:00 UTC .", "Raised every ten minutes, 12 at most; striped: a flood")
	// Bars of 100 by 20: the flood is the highest, three are a quarter of twelve.
	for _, bar := range []string{`<rect x="0.00" y="15.00" width="40.00" height="5.00"></rect>`, `<rect x="50.00" y="0.00" width="40.00" height="20.00" fill="url(#flooded)"></rect>`} {
		if !strings.Contains(page, bar) {
			t.Errorf("no bar %s", bar)
		}
	}
	if !strings.Contains(page, `<a href="/performance?berth=east-3">east-3</a>`) || !strings.Contains(page, `<a href="?period=1h">All berths</a>`) {
		t.Error("the page leads to no berth of its own, or not back")
	}
	// Of two alarms each is half of all: no sign of a nuisance, and none of its absence.
	m.raised, m.before = 2, nil
	_, page = s.get("/performance?period=1h")
	says(t, page, "on average 2.25 – 1 is", "The ten most frequent, of all 75\u00a0% – under 5\u00a0%, once there are 100 Too few to tell")
	// Half an hour of a day says nothing of the day, but that it was too much already.
	m.mean, m.flood = 0.1, 0.001
	_, page = s.get("/performance?period=24h")
	says(t, page, "on average 0.10 – 1 is acceptable, 2 the most to manage Too few to tell", "Time in flood 0.1\u00a0% – under 1\u00a0% Too few to tell", "at most 11 – over 10 is a flood Worse")
	m.mean, m.flood = 0, 0
	if _, page := s.get("/performance?lang=de&period=1h"); !strings.Contains(text(page), "2,25") {
		t.Error("in German the figures are not German")
	}
	if _, page := s.get("/"); !strings.Contains(page, `href="/performance"`) {
		t.Error("the page does not lead there")
	}
	for _, bad := range []string{"/performance?period=soon", "/performance?period=1s"} {
		if resp, _ := s.get(bad); resp.StatusCode != http.StatusBadRequest {
			t.Errorf("%s: %d", bad, resp.StatusCode)
		}
	}
}

func TestNoPerformancePageWhereNobodyMeasures(t *testing.T) {
	s := newStation(t, nil)
	if resp, _ := s.get("/performance"); resp.StatusCode != http.StatusNotFound {
		t.Errorf("answer %d", resp.StatusCode)
	}
	if _, page := s.get("/"); strings.Contains(page, `href="/performance"`) {
		t.Error("the page leads there")
	}
}
