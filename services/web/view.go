package web

import (
	"context"
	"fmt"
	"time"

	"hawser/detect"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/alarm"
	"hawser/services/live"
)

const (
	// shownAtOnce is how many berths are shown in full where none is selected.
	shownAtOnce = 3
	// recent is how many cleared alarms are listed.
	recent = 20
	// mostAlarms bounds the list of active ones on the page; the worst are on it.
	mostAlarms = 200
)

// view is all that the page's templates need, in words.
type view struct {
	Berth    string // selected, "" for none
	Who      string // has signed in, "" where nobody does
	Now      moment
	Alarms   []alarmView
	NotShown int // active alarms over mostAlarms
	Waiting  int // active alarms that nobody has taken on
	Cleared  []alarmView
	Overview []overviewRow // where there is more than one berth
	Shown    []berthView
}

// alarmView is one alarm.
type alarmView struct {
	ID, Priority, PriorityName string
	What, Berth, Where         string
	Detail, Figure             string
	Raised                     moment
	Cleared, Taken             *moment
	By, Note                   string
}

// overviewRow is one berth in the list of all.
type overviewRow struct {
	Berth, Ship, Href string
	Selected          bool
	Worst             string // priority of the worst active alarm, "" for none
	Alarms            int
	Highest           string // line with the highest share of its MBL
	Live              bool
	State             string
}

// view puts pictures and alarms into words, as far as the caller may see them.
func (s *Site) view(ctx context.Context, berth string, pictures []*hawserv1.BerthPicture) (*view, error) {
	alarms, _ := s.o.Alarms.List("", true)
	alarms = alarm.Seen(ctx, s.o.Access, alarms)
	pictures = live.Seen(ctx, s.o.Access, pictures)
	v := &view{Berth: berth, Who: s.who(ctx), Now: stamp(s.o.Now())}
	active := map[string][]*alarm.State{}
	for i := range alarms {
		a := &alarms[i]
		if a.Active() {
			active[a.Berth] = append(active[a.Berth], a)
		}
		// The server's own concern every berth.
		if berth == "" || a.Berth == berth || a.Berth == "" {
			v.addAlarm(a)
		}
	}
	return v, v.addBerths(pictures, active)
}

// addAlarm adds one alarm to the lists, in their order.
func (v *view) addAlarm(a *alarm.State) {
	if !a.Active() {
		if len(v.Cleared) < recent {
			v.Cleared = append(v.Cleared, describe(a))
		}
		return
	}
	if a.Acknowledged.IsZero() {
		v.Waiting++
	}
	if len(v.Alarms) == mostAlarms {
		v.NotShown++
		return
	}
	v.Alarms = append(v.Alarms, describe(a))
}

// addBerths adds the berths' own parts.
func (v *view) addBerths(pictures []*hawserv1.BerthPicture, active map[string][]*alarm.State) error {
	found := v.Berth == ""
	for _, p := range pictures {
		if len(pictures) > 1 {
			v.Overview = append(v.Overview, overview(p, active[p.Berth], p.Berth == v.Berth))
		}
		if p.Berth == v.Berth || v.Berth == "" && len(pictures) <= shownAtOnce {
			v.Shown = append(v.Shown, describeBerth(p, active[p.Berth]))
			found = true
		}
	}
	if !found {
		return fmt.Errorf("no berth %q is under watch here", v.Berth)
	}
	return nil
}

func describe(a *alarm.State) alarmView {
	v := alarmView{ID: a.ID, Priority: a.Priority.String(), PriorityName: sentence(a.Priority.String()),
		What: sentence(a.Condition), Where: place(a.Line, a.Group), Berth: a.Berth, Detail: a.Detail, Figure: figure(a.Measure), Raised: stamp(a.Raised),
		By: a.By, Note: a.Note}
	at := func(t time.Time) *moment {
		if t.IsZero() {
			return nil
		}
		m := stamp(t)
		return &m
	}
	v.Cleared, v.Taken = at(a.Cleared), at(a.Acknowledged)
	return v
}

// figure writes the number behind an alarm.
func figure(m alarm.Measure) string {
	unit := m.Unit
	if unit != "" {
		unit = " " + unit
	}
	switch {
	case m.HasValue && m.HasLimit:
		return fmt.Sprintf("%.4g%s, held against %.4g%s", m.Value, unit, m.Limit, unit)
	case m.HasValue:
		return fmt.Sprintf("%.4g%s", m.Value, unit)
	}
	return ""
}

func overview(p *hawserv1.BerthPicture, active []*alarm.State, selected bool) overviewRow {
	row := overviewRow{Berth: p.Berth, Ship: p.Ship, Href: "/" + selection(p.Berth), Selected: selected,
		Alarms: len(active), Highest: none, Live: p.Live, State: state(p)}
	worst := detect.Caution + 1
	for _, a := range active {
		if a.Priority < worst {
			worst, row.Worst = a.Priority, a.Priority.String()
		}
	}
	highest := -1.0
	for _, l := range p.Lines {
		if l.TensionKn != nil && *l.TensionKn/l.MblKn > highest {
			highest = *l.TensionKn / l.MblKn
			row.Highest = "line " + l.Line + ", " + percent(highest)
		}
	}
	return row
}

// state says whether a berth's readings come in.
func state(p *hawserv1.BerthPicture) string {
	switch {
	case p.AgeSeconds == nil:
		return "Not live: no readings yet"
	case !p.Live:
		return "Not live: nothing came in for " + span(*p.AgeSeconds)
	}
	return "Live"
}
