package web

import (
	"cmp"
	"fmt"

	"hawser/detect"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/alarm"
)

// berthView is one berth in full.
type berthView struct {
	Berth, Ship string
	Live        bool
	State       string
	Newest      *moment
	Facts       []fact
	Groups      []groupView
}

// fact is a named figure of the berth.
type fact struct{ Name, Value string }

// groupView is the lines of one group, in the plan's order.
type groupView struct {
	Name  string
	Lines []lineView
}

// lineView is one line's row.
type lineView struct {
	ID     string
	Flags  []flag // its active alarms
	Held   string // why other alarms of it are held back, "" for none
	Load   string // kN
	Share  string // of MBL
	Limit  string // the working load limit as a share of MBL
	Bar    *bar   // nil where there is no load to draw
	Brake  string
	Payout string // "" where it is not told
	Sensor string
	Age    string
	Old    bool // the figures are not live
	Course *courseView
}

// flag is an active alarm on a line's row.
type flag struct{ Priority, What string }

// bar is the load on an axis from 0 to 100 % of MBL.
type bar struct {
	Width, Limit float64
	Over         bool // at or over the working load limit
}

func describeBerth(p *hawserv1.BerthPicture, active []*alarm.State) berthView {
	v := berthView{Berth: p.Berth, Ship: p.Ship, Live: p.Live, State: state(p), Facts: facts(p)}
	if p.NewestReadingAt != nil {
		m := stamp(p.NewestReadingAt.AsTime())
		v.Newest = &m
	}
	flags, held := map[string][]flag{}, map[string]string{}
	for _, a := range active {
		if a.Line != "" {
			flags[a.Line] = append(flags[a.Line], flag{a.Priority.String(), sentence(a.Condition)})
			held[a.Line] = cmp.Or(held[a.Line], heldBackBy(a.Condition)) // by the worst, which comes first
		}
	}
	place := map[string]int{}
	for _, l := range p.Lines {
		i, ok := place[l.Group]
		if !ok {
			i = len(v.Groups)
			place[l.Group] = i
			v.Groups = append(v.Groups, groupView{Name: groupName(l.Group)})
		}
		v.Groups[i].Lines = append(v.Groups[i].Lines, describeLine(l, flags[l.Line], held[l.Line]))
	}
	return v
}

func facts(p *hawserv1.BerthPicture) []fact {
	wind := number("%.1f m/s", p.WindSpeedMps)
	if p.WindSpeedMps != nil && p.WindDirectionDeg != nil {
		wind += fmt.Sprintf(" from %03.0f°", *p.WindDirectionDeg)
	}
	watch := "not told"
	if p.UnderWatch != nil {
		watch = "arriving or leaving: alarms are held back"
		if *p.UnderWatch {
			watch = "under watch"
		}
	}
	return []fact{
		{"Mooring", watch},
		{"Wind", wind},
		{"Water level", number("%.2f m", p.WaterLevelM)},
		{"Draft fwd / aft", number("%.2f", p.DraftFwdM) + " / " + number("%.2f m", p.DraftAftM)},
	}
}

// heldBackBy says what an active alarm keeps from being told of its line: one
// cause, one alarm.
func heldBackBy(condition string) string {
	switch condition {
	case detect.LineParted.String():
		return "nothing else of it is told"
	case detect.SensorFault.String():
		return "nothing of its load is told"
	case detect.BrakeSlip.String():
		return "its slack is not told"
	}
	return ""
}

func describeLine(l *hawserv1.LinePicture, flags []flag, held string) lineView {
	if l.BrakeSet != nil && !*l.BrakeSet {
		held = cmp.Or(held, "worked by hand: nothing of its load is told")
	}
	v := lineView{ID: l.Line, Flags: flags, Held: held, Load: number("%.0f", l.TensionKn), Share: none,
		Limit: percent(l.WorkingLoadKn / l.MblKn), Brake: brake(l)}
	if l.PayoutM != nil {
		v.Payout = figures("%+.2f", *l.PayoutM) + " m"
	}
	v.Sensor, v.Old = sensor(l)
	if l.AgeSeconds != nil {
		v.Age = span(*l.AgeSeconds) + " ago"
	}
	if l.TensionKn != nil {
		v.Share = percent(*l.TensionKn / l.MblKn)
		v.Bar = &bar{
			Width: 100 * min(1, max(0, *l.TensionKn/l.MblKn)), Limit: 100 * l.WorkingLoadKn / l.MblKn,
			Over: *l.TensionKn >= l.WorkingLoadKn,
		}
		v.Course = drawCourse(l)
	}
	return v
}

func brake(l *hawserv1.LinePicture) string {
	switch {
	case !l.OnWinch:
		return "On bitts"
	case l.BrakeSet == nil:
		return "Not told"
	case *l.BrakeSet:
		return "Set"
	}
	return "Released"
}

// sensor says what a load pin is worth, and whether its figures are old.
func sensor(l *hawserv1.LinePicture) (words string, old bool) {
	switch l.Sensor {
	case hawserv1.SensorState_SENSOR_STATE_GOOD:
		return "Good", false
	case hawserv1.SensorState_SENSOR_STATE_BAD:
		return "Bad readings", true
	case hawserv1.SensorState_SENSOR_STATE_NONE:
		return "No load pin", false
	}
	return "Silent", true
}
