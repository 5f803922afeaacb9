package web

import (
	"fmt"
	"net/http"
	"strings"
	"time"

	"hawser/detect"
	"hawser/services/performance"
)

// Performance measures the alarms themselves.
type Performance interface {
	Report(berth string, period time.Duration) performance.Report
}

// performanceView is the report as its template has it.
type performanceView struct {
	Berth, Period      string
	Periods            []string
	From, To           moment
	Began              moment // of the log where that is within the period
	Late               bool   // it is
	Raised             int
	Figures            []performanceFigure
	Course             performanceCourse
	Priorities         []performancePriority
	Frequent, Chatters []frequentView
	Standing           []standingView
}

// performanceFigure is one figure against its benchmark, which the words have by
// its name.
type performanceFigure struct {
	Name, Value string
	Before      string // in the time before, empty where that is not known or not reckoned
	Least, Most string // of the benchmark
	Over        bool
	Few         bool // so few that it says nothing
}

// performanceCourse is the raises of each part of the period as bars, in a drawing of
// 100 by 20.
type performanceCourse struct {
	Each     string // "10m", "1h" or "24h", the length of a part
	Counts   string // in order
	Most     int
	From, To moment
	Bars     []performanceBar
}

type performanceBar struct {
	X, Y, Wide, High string
	Flooded          bool
}

type performancePriority struct{ Name, Share string }

type frequentView struct {
	Condition, Line, Group, Source, Berth string
	Raised                                int
	Share                                 string
}

type standingView struct {
	Condition, Line, Group, Source, Berth, Priority string
	Raised                                          moment
}

// performance draws how the alarms did.
func (s *Site) performance(w http.ResponseWriter, r *http.Request) {
	asked := r.URL.Query().Get("period")
	if asked == "" {
		asked = "24h"
	}
	period, err := time.ParseDuration(asked)
	if err != nil || period < performance.Interval {
		s.notice(w, r, http.StatusBadRequest, "period")
		return
	}
	berth := r.URL.Query().Get("berth")
	if s.unheardOf(r.Context(), berth) {
		s.notice(w, r, http.StatusNotFound, "no-berth", "berth", berth)
		return
	}
	v := s.shellOf(r, "performance")
	words := s.words[v.Lang]
	v.Title = words.say("shell.page.performance")
	v.Page = describeReport(words, s.o.Performance.Report(berth, period), asked)
	s.draw(w, http.StatusOK, "performance", v)
}

// few raised say nothing of which are frequent.
const few = 100

func describeReport(w *words, r performance.Report, period string) performanceView {
	v := performanceView{Berth: r.Berth, Period: period, Periods: []string{"1h", "24h", "168h", "744h"},
		From: stamp(r.From), To: stamp(r.To), Raised: r.Raised}
	v.Late, v.Began = !r.Began.IsZero(), stamp(r.Began)
	brief := v.Late && r.To.Sub(r.Began) < r.To.Sub(r.From)/2 // to say how often, where it is not too often already
	v.Course = courseOf(r)
	var mean, peak, flood string
	if b := r.Before; b != nil {
		mean, peak, flood = w.figure("%.2f", b.Mean), fmt.Sprint(b.Peak), w.percent(1, b.FloodPart)
	}
	v.Figures = []performanceFigure{
		{"mean", w.figure("%.2f", r.Mean), mean, w.figure("%.0f", performance.Acceptable), w.figure("%.0f", performance.Manageable), r.Mean > performance.Manageable, brief && r.Mean <= performance.Manageable},
		{"peak", fmt.Sprint(r.Peak), peak, "", fmt.Sprint(performance.FloodBegins), r.Peak > performance.FloodBegins, false},
		{"flood", w.percent(1, r.FloodPart), flood, "", w.percent(0, performance.FloodShareMost), r.FloodPart >= performance.FloodShareMost, brief && r.FloodPart < performance.FloodShareMost},
		{"frequent", w.percent(0, r.FrequentShare), "", fmt.Sprint(few), w.percent(0, performance.FrequentMost), r.FrequentShare > performance.FrequentMost, r.Raised < few},
		{"chatter", fmt.Sprint(len(r.Chattering)), "", "", "", len(r.Chattering) > 0, false},
		{"standing", fmt.Sprint(len(r.Standing)), "", "", fmt.Sprint(performance.StaleMost), len(r.Standing) >= performance.StaleMost, false},
	}
	for p := detect.Emergency; p <= detect.Caution; p++ {
		v.Priorities = append(v.Priorities, performancePriority{p.String(), w.percent(0, r.ByPriority[p])})
	}
	for _, f := range r.Frequent {
		v.Frequent = append(v.Frequent, frequent(w, f))
	}
	for _, f := range r.Chattering {
		v.Chatters = append(v.Chatters, frequent(w, f))
	}
	for i := range r.Standing {
		a := &r.Standing[i]
		v.Standing = append(v.Standing, standingView{a.Condition, a.Line, a.Group, a.Source, a.Berth, a.Priority.String(), stamp(a.Raised)})
	}
	return v
}

// courseOf draws how often people were called.
func courseOf(r performance.Report) performanceCourse {
	c := performanceCourse{From: stamp(r.From), To: stamp(r.To), Each: "10m"}
	if len(r.Course) > 1 {
		switch each := r.Course[1].From.Sub(r.Course[0].From); {
		case each >= 24*time.Hour:
			c.Each = "24h"
		case each >= time.Hour:
			c.Each = "1h"
		}
	}
	var counts []string
	for _, s := range r.Course {
		c.Most = max(c.Most, s.Raised)
		counts = append(counts, fmt.Sprint(s.Raised))
	}
	c.Counts = strings.Join(counts, ", ")
	wide := 100 / float64(max(1, len(r.Course)))
	for i, s := range r.Course {
		high := 20 * float64(s.Raised) / float64(max(1, c.Most))
		c.Bars = append(c.Bars, performanceBar{fmt.Sprintf("%.2f", float64(i)*wide), fmt.Sprintf("%.2f", 20-high), fmt.Sprintf("%.2f", 0.8*wide), fmt.Sprintf("%.2f", high), s.Flooded})
	}
	return c
}

func frequent(w *words, f performance.Frequent) frequentView {
	return frequentView{f.Subject.Condition, f.Subject.Line, f.Subject.Group, f.Subject.Source, f.Subject.Berth, f.Raised, w.percent(0, f.Share)}
}

// figure writes a number as the language does.
func (w *words) figure(format string, v float64) string {
	return strings.Replace(fmt.Sprintf(format, v), ".", w.say("shell.decimal"), 1)
}

// percent writes a share with a number of decimals.
func (w *words) percent(decimals int, share float64) string {
	return w.figure(fmt.Sprintf("%%.%df", decimals), 100*share) + "\u00a0%"
}

// place names what an alarm is on: "Line 4, forward breast line", its group, its
// gateway or nothing.
func (w *words) place(line, group, source string) string {
	named := w.has("mooring.one." + group)
	switch {
	case line == "" && group == "" && source != "":
		return w.say("mooring.gateway", "source", source)
	case line == "" && w.has("mooring.all."+group):
		return w.say("mooring.all." + group)
	case line == "":
		return group
	case named:
		return w.say("mooring.line-of", "line", line, "group", w.say("mooring.one."+group))
	}
	return w.say("mooring.line", "line", line)
}

// condition names a condition; one with an ending of its own by its stem.
func (w *words) condition(name string) string {
	for stem := name; stem != ""; stem = stem[:max(0, strings.LastIndexByte(stem, '-'))] {
		if key := "alarm.condition." + stem; w.has(key) {
			return w.say(key)
		}
	}
	return name // newer than the words
}
