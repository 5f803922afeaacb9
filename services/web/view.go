package web

import (
	"context"
	"fmt"

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
	Side     string // they are on, "" where nobody does
	Now      moment
	Alarms   []alarmView
	NotShown int         // active alarms over mostAlarms
	Waiting  int         // active alarms that nobody has taken on
	Returned []alarmView // over, and nobody has taken them on
	Quiet    []holdView  // on a shelf or out of service
	Shelves  []shelf
	Measured bool // there is a page on how the alarms do
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
	Cleared                    *moment
	Taken                      []takenView
	Escalated                  bool
	Other                      string // the side that has still to take it on, where one has
	Shelvable                  bool
	Line                       string // place of a line to take out of service, "" where that makes no sense
}

// takenView is one side's acknowledgement.
type takenView struct {
	Side, By, Note string
	At             moment
}

// holdView is one hold.
type holdView struct {
	Place, What, Where, Berth string
	By, Reason                string
	Since                     moment
	Until                     *moment
	Active                    bool // an alarm is active under it
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
	v := &view{Berth: berth, Who: s.who(ctx), Side: s.side(ctx), Now: stamp(s.o.Now()), Shelves: shelves(), Measured: s.measured(ctx)}
	active := map[string][]*alarm.State{}
	quiet := map[alarm.Subject]bool{}
	for i := range alarms {
		a := &alarms[i]
		if a.Active() && a.Hold != nil {
			quiet[a.Hold.Subject] = true
			continue
		}
		if a.Active() {
			active[a.Berth] = append(active[a.Berth], a)
		}
		// The server's own concern every berth.
		if berth == "" || a.Berth == berth || a.Berth == "" {
			v.addAlarm(a)
		}
	}
	for _, h := range alarm.SeenHolds(ctx, s.o.Access, s.o.Alarms.Holds(berth)) {
		v.Quiet = append(v.Quiet, describeHold(&h, quiet[h.Subject]))
	}
	return v, v.addBerths(pictures, active)
}

func describeHold(h *alarm.Hold, active bool) holdView {
	v := holdView{Place: placeOf(h.Subject), What: "All alarms", Where: place(h.Line, h.Group), Berth: h.Berth,
		By: h.By + ", " + h.Side.String(), Reason: h.Reason, Since: stamp(h.Since), Active: active}
	if h.Condition != "" {
		v.What = sentence(h.Condition)
	}
	if h.Shelf() {
		until := stamp(h.Until)
		v.Until = &until
	}
	return v
}

// addAlarm adds one alarm to the lists, in their order.
func (v *view) addAlarm(a *alarm.State) {
	switch {
	case a.Lifecycle() == alarm.ReturnedUnacknowledged && len(v.Returned) < recent:
		v.Returned = append(v.Returned, describe(a))
		return
	case !a.Active():
		if len(v.Cleared) < recent {
			v.Cleared = append(v.Cleared, describe(a))
		}
		return
	}
	if a.Acknowledged() == nil {
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
		What: sentence(a.Condition), Where: place(a.Line, a.Group), Berth: a.Berth, Detail: a.Detail, Figure: figure(a.Measure), Raised: stamp(a.Raised)}
	if !a.Cleared.IsZero() {
		cleared := stamp(a.Cleared)
		v.Cleared = &cleared
	}
	for _, t := range a.Acknowledgements {
		v.Taken = append(v.Taken, takenView{t.Side.String(), t.By, t.Note, stamp(t.At)})
	}
	if len(v.Taken) == 1 {
		v.Other = alarm.Terminal.String()
		if v.Taken[0].Side == v.Other {
			v.Other = alarm.Ship.String()
		}
	}
	v.Escalated = a.Level > 0 && len(v.Taken) == 0
	v.Shelvable = a.Priority != detect.Emergency
	if a.Line != "" && a.Condition == detect.SensorFault.String() {
		v.Line = placeOf(alarm.Subject{Berth: a.Berth, Line: a.Line})
	}
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
