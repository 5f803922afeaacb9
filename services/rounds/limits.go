package rounds

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"hawser/detect"
	"hawser/services/alarm"
)

// Conditions of the journal, each with what it is of behind it.
const (
	JournalPressure = "journal-pressure-"
	JournalLoss     = "journal-loss-"
)

// Limit is a limit of the journal that is near.
type Limit struct {
	Kind, Reader string
	Share        float64 // of it; at 1 readings are lost
}

// Loss is what a reader of the journal could not be given.
type Loss struct {
	Reader   string
	Batches  uint64
	From, To uint64 // positions, of the last of them
}

// limits judges the journal. It tells only of what is near or lost, so that one of
// these conditions which is active and not told of is over; at a start only once
// the journal has looked.
func (r *Rounds) limits(s *Sight, active map[key]bool, now time.Time) (out []finding) {
	told := map[string]bool{}
	for _, l := range s.Limits {
		out = append(out, l.near())
		told[out[len(out)-1].Condition] = true
	}
	for _, l := range s.Losses {
		out = append(out, l.lost())
		told[out[len(out)-1].Condition] = true
	}
	if now.Sub(r.began) < newsFor {
		return out
	}
	for _, condition := range slices.Sorted(maps.Keys(own(active))) {
		if !told[condition] && (strings.HasPrefix(condition, JournalPressure) || strings.HasPrefix(condition, JournalLoss)) {
			out = append(out, finding{Own: alarm.Own{Condition: condition}, state: over})
		}
	}
	return out
}

// own is the conditions of the server as a whole.
func own(active map[key]bool) map[string]bool {
	out := map[string]bool{}
	for k := range active {
		if k.berth == "" {
			out[k.condition] = true
		}
	}
	return out
}

func (l Limit) near() finding {
	condition, what := JournalPressure+l.Kind, "the disk of the journal"
	if l.Reader != "" {
		condition += "-" + l.Reader
		what = fmt.Sprintf("what %s has not read of the journal (%s)", l.Reader, l.Kind)
	}
	return finding{state: holds, Own: alarm.Own{Condition: condition, Priority: detect.Warning,
		Measure: alarm.Measure{Value: 100 * l.Share, HasValue: true, Limit: 100, HasLimit: true, Unit: "%"},
		Detail:  fmt.Sprintf("Server: %s is at %.0f %% of its limit, where readings are lost; see to the reader or give it more room.", what, 100*l.Share),
	}}
}

func (l Loss) lost() finding {
	return finding{state: holds, Own: alarm.Own{Condition: JournalLoss + l.Reader, Priority: detect.Alarm,
		Measure: alarm.Measure{Value: float64(l.Batches), HasValue: true, Unit: "batches"},
		Detail:  fmt.Sprintf("Server: %s could not be given journal positions %d to %d; what they held was not looked at.", l.Reader, l.From, l.To),
	}}
}
