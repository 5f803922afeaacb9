package web

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"hawser/detect"
	"hawser/services/alarm"
	"hawser/services/performance"
)

// Performance measures the alarms themselves.
type Performance interface {
	Report(berth string, period time.Duration) performance.Report
}

// performancePeriods are what the page offers.
func performancePeriods() []shelf {
	return []shelf{{"1h", "hour"}, {"24h", "day"}, {"168h", "week"}, {"744h", "month"}}
}

// performanceView is the report in words.
type performanceView struct {
	Berth, Period      string
	Periods            []shelf
	From, To           moment
	Raised             int
	Figures            []performanceFigure
	Priorities         []fact
	Frequent, Chatters []frequentView
	Standing           []alarmView
}

// performanceFigure is one figure against its benchmark.
type performanceFigure struct {
	Name, Value, Benchmark string
	Over                   bool
}

type frequentView struct {
	What, Where, Berth string
	Raised             int
	Share              string
}

// measured reports whether there is a page on how the alarms do, for this caller:
// it is of the whole site.
func (s *Site) measured(ctx context.Context) bool {
	return s.o.Performance != nil && (s.o.Access == nil || s.o.Access.SeesSite(ctx))
}

// performance draws how the alarms did.
func (s *Site) performance(w http.ResponseWriter, r *http.Request) {
	asked := r.URL.Query().Get("period")
	if asked == "" {
		asked = "24h"
	}
	period, err := time.ParseDuration(asked)
	if err != nil || period < performance.Interval {
		s.notice(w, http.StatusBadRequest, "No such period", "The period is a time such as 24h, of at least ten minutes.")
		return
	}
	s.draw(w, http.StatusOK, "performance", describeReport(s.o.Performance.Report(r.URL.Query().Get("berth"), period), asked))
}

// few raised say nothing of which are frequent.
const few = 100

func describeReport(r performance.Report, period string) performanceView {
	v := performanceView{Berth: r.Berth, Period: period, Periods: performancePeriods(), From: stamp(r.From), To: stamp(r.To), Raised: r.Raised}
	v.Figures = []performanceFigure{
		{"Raised in ten minutes, on average", figures("%.2f", r.Mean),
			fmt.Sprintf("%.0f is acceptable, %.0f the most to manage", performance.Acceptable, performance.Manageable), r.Mean > performance.Manageable},
		{"Raised in ten minutes, at most", fmt.Sprint(r.Peak),
			fmt.Sprintf("over %d is a flood", performance.FloodBegins), r.Peak > performance.FloodBegins},
		{"Time in flood", percentFine(r.FloodPart), "under " + percent(performance.FloodShareMost), r.FloodPart >= performance.FloodShareMost},
		{"The ten most frequent, of all", percent(r.FrequentShare),
			"under " + percent(performance.FrequentMost) + ", once there are " + fmt.Sprint(few), r.Raised >= few && r.FrequentShare > performance.FrequentMost},
		{"Coming and going", fmt.Sprint(len(r.Chattering)), "none", len(r.Chattering) > 0},
		{"Active for over a day", fmt.Sprint(len(r.Standing)), fmt.Sprintf("under %d, each with a plan", performance.StaleMost), len(r.Standing) >= performance.StaleMost},
	}
	for p := detect.Emergency; p <= detect.Caution; p++ {
		v.Priorities = append(v.Priorities, fact{sentence(p.String()), percent(r.ByPriority[p])})
	}
	for _, f := range r.Frequent {
		v.Frequent = append(v.Frequent, frequent(f))
	}
	for _, f := range r.Chattering {
		v.Chatters = append(v.Chatters, frequent(f))
	}
	for i := range r.Standing {
		v.Standing = append(v.Standing, describe(&r.Standing[i]))
	}
	return v
}

func frequent(f performance.Frequent) frequentView {
	return frequentView{sentence(f.Subject.Condition), place(f.Subject.Line, f.Subject.Group), berthName(f.Subject), f.Raised, percent(f.Share)}
}

func berthName(s alarm.Subject) string {
	if s.Berth == "" {
		return "This server"
	}
	return s.Berth
}

// percentFine writes a small share.
func percentFine(share float64) string { return figures("%.1f", 100*share) + " %" }
