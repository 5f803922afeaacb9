package rounds

import (
	"fmt"
	"time"

	"hawser/detect"
	"hawser/services/alarm"
)

// gatewaySilent judges one of a berth's sources. It is told only while the berth is
// heard by others; what comes from this one alone is told by the pins that are silent.
// It takes twice as long as a berth, so that gateways that stop together are not told
// one by one.
func gatewaySilent(b *Berth, s *Source, now time.Time, limit time.Duration) finding {
	silence := now.Sub(s.Last)
	f := finding{Own: alarm.Own{Berth: b.Name, Source: s.Name, Condition: GatewaySilent, Priority: detect.Warning, Measure: seconds(silence, 2*limit),
		Detail: fmt.Sprintf("Gateway %s has sent nothing for %.0f s. Load pins that it sends come from another gateway, which is now the only one; anything else that it sends is missing. See to it, its link and its power.", s.Name, silence.Seconds())}}
	switch {
	case !b.UnderWatch || s.Done || silence < limit && s.Last.Sub(s.Since) >= steady:
		f.state = over
	case silence >= 2*limit && !s.Alone && now.Sub(b.Heard) < steady:
		f.state = holds
	}
	return f
}

// leftGateways ends what is told of sources that have not sent since the start, at
// berths that a ship has left.
func leftGateways(s *Sight, active map[key]bool) (out []finding) {
	away := map[string]bool{}
	for i := range s.Berths {
		away[s.Berths[i].Name] = !s.Berths[i].UnderWatch
	}
	for k := range active {
		if k.condition == GatewaySilent && away[k.berth] {
			out = append(out, finding{Own: alarm.Own{Berth: k.berth, Source: k.source, Condition: GatewaySilent}, state: over})
		}
	}
	return out
}

// floods judges which gateways are held back; what is active and not seen any more is
// over, at a start only once there was time to be held back again.
func (r *Rounds) floods(s *Sight, active map[key]bool, now time.Time) (out []finding) {
	told := map[key]bool{}
	for _, f := range s.Floods {
		told[key{f.Berth, GatewayFloods, f.Source}] = true
		if f.For < steady {
			continue
		}
		out = append(out, finding{state: holds, Own: alarm.Own{Berth: f.Berth, Source: f.Source, Condition: GatewayFloods, Priority: detect.Warning,
			Detail: fmt.Sprintf("Gateway %s sends more than the lines of its berth can need and is held back, so that other berths keep their room in the journal: its own readings come late. See to how often it reads, and whether it sends the same again and again.", f.Source)}})
	}
	for k := range active {
		if k.condition == GatewayFloods && !told[k] && now.Sub(r.began) >= newsFor {
			out = append(out, finding{state: over, Own: alarm.Own{Berth: k.berth, Source: k.source, Condition: GatewayFloods}})
		}
	}
	return out
}
