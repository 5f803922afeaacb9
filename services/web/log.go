package web

import (
	"net/http"
	"slices"
	"time"

	"hawser/services/alarm"
)

// logPeriods are the spans that a log is read over: half a watch, a watch, a shift, a
// day and a week.
var logPeriods = [...]string{"2h", "4h", "8h", "12h", "24h", "168h"}

const (
	logPeriod  = "12h" // where none is asked for
	mostLogged = 500   // alarms on one page, the newest
)

// logView is what has happened, as its template has it.
type logView struct {
	Berth, Period string
	Periods       []string
	From, To      moment
	Raised        int // in the period
	Standing      int // now
	Alarms        []loggedAlarm
	More          int // over mostLogged
	Holds         []loggedHold
}

type loggedAlarm struct {
	ID, Berth, Priority, Condition, Line, Group, Source, Detail, Over string
	At                                                                moment
	State                                                             string // of ISA-18.2, in the words of the wire
	Stands                                                            bool
	Stood                                                             string // how long
	Escalated                                                         bool
	Acks                                                              []loggedDeed
	Notes                                                             []loggedDeed
}

// loggedDeed is what somebody did: took an alarm on, or wrote something to it.
type loggedDeed struct{ By, Side, After, Text string }

type loggedHold struct {
	Berth, Condition, Line, Group, Source, By, Reason string
	Shelf                                             bool
	Until                                             moment
}

// log draws what has happened since, for who takes the watch over: the alarms that were
// raised or stood in a time, what was done about them, and what is kept quiet now.
func (s *Site) log(w http.ResponseWriter, r *http.Request) {
	query := r.URL.Query()
	asked := query.Get("period")
	if asked == "" {
		asked = logPeriod
	}
	period, err := time.ParseDuration(asked)
	if err != nil || period <= 0 {
		s.notice(w, r, http.StatusBadRequest, "period")
		return
	}
	if s.unheardOf(r.Context(), query.Get("berth")) {
		s.notice(w, r, http.StatusNotFound, "no-berth", "berth", query.Get("berth"))
		return
	}
	v := s.shellOf(r, "log")
	words, now := s.words[v.Lang], s.o.Now()
	v.Title = words.say("shell.page.log")
	view := logView{Berth: query.Get("berth"), Period: asked, Periods: logPeriods[:], From: stamp(now.Add(-period)), To: stamp(now)}
	all, _ := s.o.Alarms.List("", true)
	view.alarms(words, alarm.Seen(r.Context(), s.o.Access, all), now.Add(-period), now)
	for _, h := range alarm.SeenHolds(r.Context(), s.o.Access, s.o.Alarms.Holds(view.Berth)) {
		view.Holds = append(view.Holds, loggedHold{h.Berth, h.Condition, h.Line, h.Group, h.Source, h.By, h.Reason, h.Shelf(), stamp(h.Until)})
	}
	v.Page = view
	s.draw(w, http.StatusOK, "log", v)
}

// alarms takes those of the view's berth, and the server's own, that were raised or
// stood after a time, the newest first.
func (v *logView) alarms(words *words, all []alarm.State, from, now time.Time) {
	all = slices.DeleteFunc(all, func(a alarm.State) bool {
		return v.Berth != "" && a.Berth != "" && a.Berth != v.Berth || !a.Active() && a.Recorded.Before(from) && a.Cleared.Before(from)
	})
	alarm.NewestFirst(all)
	for i := range all {
		a := &all[i]
		if !a.Recorded.Before(from) {
			v.Raised++
		}
		if a.Active() {
			v.Standing++
		}
		if i < mostLogged {
			v.Alarms = append(v.Alarms, logged(words, a, now))
		}
	}
	v.More = len(all) - len(v.Alarms)
}

func logged(words *words, a *alarm.State, now time.Time) loggedAlarm {
	x := loggedAlarm{ID: a.ID, Berth: a.Berth, Priority: a.Priority.String(), Condition: a.Condition, Line: a.Line, Group: a.Group, Source: a.Source, Detail: a.Detail, Over: a.Return.Detail,
		At: stamp(a.Raised), State: stateName(a.Lifecycle()), Stands: a.Active(), Escalated: a.Level > 0}
	if a.Active() {
		x.Stood = words.span(now.Sub(a.Raised))
	} else {
		x.Stood = words.span(a.Cleared.Sub(a.Raised))
	}
	called := a.Called
	if called.IsZero() {
		called = a.Recorded
	}
	for _, k := range a.Acknowledgements {
		x.Acks = append(x.Acks, loggedDeed{k.By, k.Side.String(), words.span(k.At.Sub(called)), k.Note})
	}
	for _, n := range a.Notes {
		x.Notes = append(x.Notes, loggedDeed{n.By, n.Side.String(), "", n.Text})
	}
	return x
}

// span writes a length of time as scripts do.
func (w *words) span(d time.Duration) string {
	s := int(max(d, 0).Seconds())
	switch {
	case s < 60:
		return w.say("time.seconds", "n", s)
	case s < 600:
		return w.say("time.minutes-seconds", "n", s/60, "s", s%60)
	case s < 3600:
		return w.say("time.minutes", "n", s/60)
	case s < 48*3600:
		return w.say("time.hours", "n", s/3600, "m", s%3600/60)
	}
	return w.say("time.days", "n", s/86400)
}
