package rounds_test

import (
	"strings"
	"testing"
	"time"

	"hawser/detect"
	"hawser/services/rounds"
)

// sends has the named sources of the berth send twice a second for a time; the berth is
// heard by them.
func (s *station) sends(for_ time.Duration, names ...string) {
	for end := time.Now().Add(for_); time.Now().Before(end); time.Sleep(500 * time.Millisecond) {
		s.is(func(sight *rounds.Sight) {
			b := &sight.Berths[0]
			b.Heard = time.Now()
			for i := range b.Sources {
				src := &b.Sources[i]
				for _, name := range names {
					if src.Name != name {
						continue
					}
					if time.Since(src.Last) >= 8*time.Second {
						src.Since = time.Now()
					}
					src.Last = time.Now()
				}
			}
		})
	}
}

func gateways(s *rounds.Sight, names ...string) {
	for _, name := range names {
		s.Berths[0].Sources = append(s.Berths[0].Sources, rounds.Source{Name: name})
	}
}

// One of two gateways of the same load pins stops, over a restart of the server, and is
// back.
func TestGatewaySilent(t *testing.T) {
	during(t, func(t *testing.T, s *station) {
		s.is(func(sight *rounds.Sight) { gateways(sight, "bow", "stern") })
		s.sends(20*time.Second, "bow", "stern")
		s.sends(15*time.Second, "stern")
		s.within(0)
		s.sends(3*time.Second, "stern")
		s.within(0, "east-3 gateway-silent")
		got, _ := s.log.List("east-3", false)
		if a := got[0]; a.Source != "bow" || a.Priority != detect.Warning || a.Limit != 16 || a.Unit != "s" || !strings.HasPrefix(a.Detail, "Gateway bow has sent nothing for 16 s.") {
			t.Errorf("alarm: %+v", a)
		}
		s.stop()
		s.is(func(sight *rounds.Sight) { sight.Berths[0].Sources = nil; gateways(sight, "stern") })
		s.start()
		s.sends(time.Hour, "stern")
		s.within(0, "east-3 gateway-silent")
		s.told(1)
		s.is(func(sight *rounds.Sight) { gateways(sight, "bow") })
		s.sends(4*time.Second, "bow", "stern")
		s.within(0, "east-3 gateway-silent")
		s.sends(4*time.Second, "bow", "stern")
		s.within(0)
		s.told(2)
	})
}

// What is not told of a gateway that sends no more: where others tell it, where it has
// said so itself, and where the ship has left or leaves.
func TestGatewayThatNeedNotSend(t *testing.T) {
	for name, change := range map[string]func(b *rounds.Berth){
		"some pins are its own":    func(b *rounds.Berth) { b.Sources[0].Alone = true },
		"it has said that it ends": func(b *rounds.Berth) { b.Sources[0].Done = true },
		"no ship is there":         func(b *rounds.Berth) { b.UnderWatch = false },
	} {
		t.Run(name, func(t *testing.T) {
			during(t, func(t *testing.T, s *station) {
				s.is(func(sight *rounds.Sight) { gateways(sight, "bow", "stern") })
				s.sends(20*time.Second, "bow", "stern")
				s.is(func(sight *rounds.Sight) { change(&sight.Berths[0]) })
				s.sends(time.Hour, "stern")
				s.within(0)
				s.told(0)
			})
		})
	}
}

// Both stop, one some seconds after the other: that is a silent berth and no more. The
// ship leaves with one that was told: that is over.
func TestGatewaysStopTogether(t *testing.T) {
	during(t, func(t *testing.T, s *station) {
		s.is(func(sight *rounds.Sight) { gateways(sight, "bow", "stern") })
		s.sends(20*time.Second, "bow", "stern")
		s.sends(8*time.Second, "stern")
		s.within(10*time.Second, "east-3 berth-silent")
		s.lasts(time.Hour, "east-3 berth-silent")
		s.sends(20*time.Second, "stern")
		s.within(0, "east-3 gateway-silent")
		s.is(func(sight *rounds.Sight) {
			sight.Berths[0].Sources = nil
			sight.Berths[0].UnderWatch = false
		})
		s.within(2 * time.Second)
	})
}

// A gateway that is held back for 5 s is told until it has not been for 10 s, over a
// restart of the server too; a moment is not told.
func TestGatewayFloods(t *testing.T) {
	during(t, func(t *testing.T, s *station) {
		held := func(for_ time.Duration) {
			s.is(func(sight *rounds.Sight) {
				if sight.Floods = nil; for_ > 0 {
					sight.Floods = []rounds.Flood{{Berth: "east-3", Source: "bow", For: for_}}
				}
			})
		}
		held(4 * time.Second)
		s.lasts(time.Minute)
		held(5 * time.Second)
		s.within(2*time.Second, "east-3 gateway-floods")
		got, _ := s.log.List("east-3", false)
		if a := got[0]; a.Source != "bow" || a.Priority != detect.Warning || !strings.HasPrefix(a.Detail, "Gateway bow sends more than") {
			t.Errorf("alarm: %+v", a)
		}
		s.stop()
		held(0)
		s.start()
		s.lasts(9*time.Second, "east-3 gateway-floods")
		s.within(3 * time.Second)
		s.told(2)
	})
}

// That nothing is recorded is told at once, stays over a moment in which it is, and ends
// some seconds after.
func TestNotRecorded(t *testing.T) {
	during(t, func(t *testing.T, s *station) {
		unkept := func(yes bool) {
			s.is(func(sight *rounds.Sight) {
				if sight.Unkept = nil; yes {
					sight.Unkept = &rounds.Unkept{Since: time.Date(2026, 3, 1, 4, 5, 6, 0, time.UTC), Why: errDisk.Error()}
				}
			})
		}
		time.Sleep(time.Minute)
		unkept(true)
		s.within(2*time.Second, "not-recorded")
		got, _ := s.log.List("", false)
		if a := got[0]; a.Priority != detect.Alarm || !strings.Contains(a.Detail, "since 04:05:06 UTC") || !strings.HasSuffix(a.Detail, "Found: "+errDisk.Error()+".") {
			t.Errorf("alarm: %+v", a)
		}
		unkept(false)
		time.Sleep(2 * time.Second)
		unkept(true)
		s.lasts(time.Minute, "not-recorded")
		unkept(false)
		s.within(6 * time.Second)
		s.told(2)
	})
}
