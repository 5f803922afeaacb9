package rounds

import (
	"fmt"
	"maps"
	"slices"
	"time"

	"hawser/detect"
	"hawser/services/alarm"
)

// state is whether a condition holds; between the two, what was said of it stands.
type state uint8

const (
	open state = iota
	holds
	over
)

// finding is what a round makes of one condition.
type finding struct {
	alarm.Own
	state state
}

// streak is for how many looks in a row something has been bad, or good.
type streak struct{ bad, good int }

// look takes one more look: bad so many times in a row holds, good so many is over.
func (s *streak) look(bad bool, holdsAfter, overAfter int) state {
	if bad {
		s.bad, s.good = s.bad+1, 0
	} else {
		s.bad, s.good = 0, s.good+1
	}
	switch {
	case s.bad >= holdsAfter:
		return holds
	case s.good >= overAfter:
		return over
	}
	return open
}

// berth is what is remembered of a berth from round to round.
type berth struct {
	heard, since time.Time // since when it has been heard without a silence
	behind       streak
	passedOver   uint64
}

// judge makes the findings of a look.
func (r *Rounds) judge(s *Sight, now time.Time) []finding {
	var out []finding
	known := map[string]bool{}
	for i := range s.Berths {
		b := &s.Berths[i]
		known[b.Name] = true
		was := r.berths[b.Name]
		if was == nil {
			was = &berth{}
			r.berths[b.Name] = was
		}
		ahead, silent := r.clockAhead(b.Name, s.Clocks, now), was.silent(b, now, r.o.SilentAfter)
		if ahead.state == holds && silent.state == holds {
			silent.state = open
		}
		out = append(out, silent, was.stalled(b), was.planDamaged(b, s.Damaged[b.Name]), ahead,
			r.clockBack(b.Name, s.ClocksBack, now))
		for j := range b.Sources {
			out = append(out, gatewaySilent(b, &b.Sources[j], now, r.o.SilentAfter))
		}
	}
	for _, name := range slices.Sorted(maps.Keys(s.Damaged)) {
		if !known[name] {
			out = append(out, (&berth{}).planDamaged(&Berth{Name: name}, s.Damaged[name]))
		}
	}
	return append(out, r.historyLate(s.History), r.notRecorded(s.Unkept))
}

func seconds(d, limit time.Duration) alarm.Measure {
	return alarm.Measure{Value: d.Seconds(), HasValue: true, Limit: limit.Seconds(), HasLimit: true, Unit: "s"}
}

func (was *berth) silent(b *Berth, now time.Time, limit time.Duration) finding {
	if !b.Heard.Equal(was.heard) {
		if was.heard.IsZero() || b.Heard.Sub(was.heard) >= limit {
			was.since = b.Heard
		}
		was.heard = b.Heard
	}
	silence := now.Sub(b.Heard)
	f := finding{Own: alarm.Own{Berth: b.Name, Condition: BerthSilent, Priority: detect.Alarm, Measure: seconds(silence, limit),
		Detail: fmt.Sprintf("No readings have come in for %.0f s, so nothing watches these lines from here: watch them by the ship's own means, and see to the gateway and its link.", silence.Seconds())}}
	switch {
	case b.Heard.IsZero() || b.Behind >= mostBehind:
	case silence >= limit && b.UnderWatch:
		f.state = holds
	case silence < limit && b.Heard.Sub(was.since) >= steady:
		f.state = over
	}
	return f
}

func (was *berth) stalled(b *Berth) finding {
	f := finding{Own: alarm.Own{Berth: b.Name, Condition: WatchStalled, Priority: detect.Alarm, Measure: seconds(b.Behind, mostBehind),
		Detail: fmt.Sprintf("The watch is %.0f s behind the readings that come in, so alarms are late or missing: watch the lines by the ship's own means, and have the server seen to.", b.Behind.Seconds())}}
	if b.Stopped != "" {
		f.Detail += " It has stopped: " + b.Stopped + "."
	}
	f.state = was.behind.look(b.Behind >= mostBehind, 2, 3)
	return f
}

func (was *berth) planDamaged(b *Berth, damaged error) finding {
	f := finding{Own: alarm.Own{Berth: b.Name, Condition: PlanDamaged, Priority: detect.Alarm}, state: over}
	switch {
	case damaged != nil:
		f.state = holds
		f.Detail = fmt.Sprintf("The mooring plan on record cannot be used and no line is watched: put the berth under its plan again. Found: %v.", damaged)
	case b.NoPlan != "" || b.PassedOver > was.passedOver:
		f.state = holds
		f.Measure = alarm.Measure{Value: float64(b.PassedOver), HasValue: true, Unit: "batches"}
		f.Detail = "Readings taken in under an earlier mooring plan were not watched, for that plan is lost."
		if b.NoPlan != "" {
			f.Detail += " Found: " + b.NoPlan + "."
		}
	}
	was.passedOver = b.PassedOver
	return f
}

func (r *Rounds) clockAhead(name string, clocks []Clock, now time.Time) finding {
	return r.clock(ClockAhead, name, clocks, now,
		"Readings of source %s are refused and not watched, for its clock is %s ahead of the server's: watch the lines by the ship's own means, and set the clock that is wrong.")
}

func (r *Rounds) clockBack(name string, clocks []Clock, now time.Time) finding {
	return r.clock(ClockBack, name, clocks, now,
		"Readings of source %s are kept but not watched, for they are %s old as they come and dated before those watched already: watch the lines by the ship's own means; its clock was set back, or its link is slow.")
}

// clock judges a source's clock; detail is a format of the source and by how much it
// is wrong.
func (r *Rounds) clock(condition, name string, clocks []Clock, now time.Time, detail string) finding {
	f := finding{Own: alarm.Own{Berth: name, Condition: condition, Priority: detect.Alarm}}
	i := slices.IndexFunc(clocks, func(c Clock) bool { return c.Berth == name })
	switch {
	case i >= 0:
		c := clocks[i]
		f.state = holds
		f.Measure = alarm.Measure{Value: c.By.Seconds(), HasValue: true, Unit: "s"}
		f.Detail = fmt.Sprintf(detail, c.Source, c.By.Round(time.Second))
	case now.Sub(r.began) >= newsFor: // before that the source may not have been heard again yet
		f.state = over
	}
	return f
}

func (r *Rounds) historyLate(late time.Duration) finding {
	return finding{Own: alarm.Own{Condition: HistoryLate, Priority: detect.Caution, Measure: seconds(late, mostLate),
		Detail: fmt.Sprintf("Server: history is %.0f s late; alarms are not, and nothing is lost while the journal has room. See to the store.", late.Seconds())},
		state: r.history.look(late >= mostLate, 5, 10)}
}

func (r *Rounds) notRecorded(u *Unkept) finding {
	f := finding{Own: alarm.Own{Condition: NotRecorded, Priority: detect.Alarm}, state: r.unkept.look(u != nil, 1, 5)}
	if u != nil {
		f.Detail = fmt.Sprintf("Server: nothing is recorded since %s. Lines are watched and alarms told from memory; gateways keep their readings as long as they have room. See to the journal's disk or server, and do not stop this one before. Found: %s.",
			u.Since.UTC().Format("15:04:05 UTC"), u.Why)
	}
	return f
}
