package rounds_test

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/goleak"

	"hawser/detect"
	"hawser/services/alarm"
	"hawser/services/alarm/alarmtest"
	"hawser/services/rounds"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var errDisk = errors.New("no space left on device")

// station is what the rounds of a test look at, and the alarm log they tell. Its
// methods are called in a bubble of fake time.
type station struct {
	t       *testing.T
	records alarmtest.Records
	full    atomic.Bool     // the disk of records
	logged  strings.Builder // read when the rounds have ended

	mu    sync.Mutex
	sight rounds.Sight
	fail  error

	log  *alarm.Log
	stop func()
}

// start is a process that starts.
func (s *station) start() {
	s.t.Helper()
	s.records.Fault = func() (bool, error) {
		if s.full.Load() {
			return false, errDisk
		}
		return true, nil
	}
	var err error
	s.log, err = alarm.Open(s.t.Context(), alarm.Options{Records: &s.records, Logger: slog.New(slog.DiscardHandler), Registerer: prometheus.NewRegistry()})
	if err != nil {
		s.t.Fatal(err)
	}
	r, err := rounds.New(rounds.Options{Look: s.look, Alarms: s.log, Log: slog.New(slog.NewTextHandler(&s.logged, nil))})
	if err != nil {
		s.t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- r.Run(ctx) }()
	s.stop = func() {
		s.t.Helper()
		stop()
		if err := <-ended; err != nil {
			s.t.Error(err)
		}
		if err := s.log.Close(); err != nil {
			s.t.Error(err)
		}
	}
}

func (s *station) look(_ context.Context, since time.Time) (rounds.Sight, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if ago := time.Since(since); ago != 10*time.Second {
		s.t.Errorf("clocks asked for since %v ago", ago)
	}
	out := s.sight
	out.Berths = slices.Clone(s.sight.Berths)
	for i := range out.Berths {
		out.Berths[i].Sources = slices.Clone(out.Berths[i].Sources)
	}
	return out, s.fail
}

// is sets what the rounds see from now on.
func (s *station) is(change func(*rounds.Sight)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	change(&s.sight)
}

// hears has readings of the berth come in every so often for a time.
func (s *station) hears(every, for_ time.Duration) {
	for end := time.Now().Add(for_); time.Now().Before(end); {
		s.is(func(now *rounds.Sight) { now.Berths[0].Heard = time.Now() })
		time.Sleep(every)
	}
}

// active lists the active alarms.
func (s *station) active() (out []string) {
	synctest.Wait()
	alarms, _ := s.log.List("", false)
	for _, a := range alarms {
		out = append(out, strings.TrimLeft(a.Berth+" "+a.Condition, " "))
	}
	return out
}

// within waits until the active alarms are these and says how long that took.
func (s *station) within(limit time.Duration, want ...string) time.Duration {
	s.t.Helper()
	began := time.Now()
	for !slices.Equal(s.active(), want) {
		if time.Since(began) >= limit {
			s.t.Fatalf("after %v active %q, want %q", limit, s.active(), want)
		}
		time.Sleep(100 * time.Millisecond)
	}
	return time.Since(began)
}

// lasts checks that the active alarms stay these for a time.
func (s *station) lasts(for_ time.Duration, want ...string) {
	s.t.Helper()
	for end := time.Now().Add(for_); time.Now().Before(end); time.Sleep(time.Second) {
		if got := s.active(); !slices.Equal(got, want) {
			s.t.Fatalf("active %q, want %q", got, want)
		}
	}
}

// told counts what is on record.
func (s *station) told(want int) {
	s.t.Helper()
	if got := s.records.Count(); got != want {
		s.t.Errorf("%d records, want %d", got, want)
	}
}

// during runs a test in fake time on a station with one berth, not heard yet.
func during(t *testing.T, test func(t *testing.T, s *station)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		s := &station{t: t, sight: rounds.Sight{Berths: []rounds.Berth{{Name: "east-3", UnderWatch: true}}}}
		s.start()
		test(t, s)
		s.stop()
	})
}

func TestBerthFallsSilent(t *testing.T) {
	during(t, func(t *testing.T, s *station) {
		s.hears(200*time.Millisecond, 20*time.Second)
		if took := s.within(10*time.Second, "east-3 berth-silent"); took < 7*time.Second {
			t.Errorf("told after %v", took)
		}
		got, _ := s.log.List("east-3", false)
		if a := got[0]; a.Priority != detect.Alarm || a.Limit != 8 || a.Value < 8 || a.Unit != "s" || !strings.Contains(a.Detail, "No readings have come in") {
			t.Errorf("alarm: %+v", a)
		}
		s.lasts(time.Hour, "east-3 berth-silent")
		s.told(1)
		s.hears(200*time.Millisecond, 7*time.Second)
		s.within(0)
		s.told(2)
	})
}

// A berth that was silent when the server stopped is so when it starts, and told
// once; what the journal brings back is no sign of life.
func TestSilentAcrossARestart(t *testing.T) {
	during(t, func(t *testing.T, s *station) {
		s.hears(time.Second, 10*time.Second)
		s.within(10*time.Second, "east-3 berth-silent")
		for _, heard := range []bool{true, false} { // with a snapshot and without
			s.stop()
			s.is(func(now *rounds.Sight) {
				now.Berths[0].Heard = time.Time{}
				if heard {
					now.Berths[0].Heard = time.Now()
				}
			})
			s.start()
			s.lasts(time.Minute, "east-3 berth-silent")
		}
		s.told(1)
		s.hears(time.Second, 7*time.Second)
		s.within(0)
	})
}

// It falls silent while the server is down.
func TestSilentSinceTheRestart(t *testing.T) {
	during(t, func(t *testing.T, s *station) {
		s.hears(time.Second, 10*time.Second)
		s.stop()
		s.is(func(now *rounds.Sight) { now.Berths[0].Heard = time.Now() })
		s.start()
		s.within(10*time.Second, "east-3 berth-silent")
	})
}

func TestNotSilent(t *testing.T) {
	for name, story := range map[string]func(s *station){
		"never heard": func(*station) {},
		"the ship leaves": func(s *station) {
			s.hears(time.Second, 10*time.Second)
			s.is(func(now *rounds.Sight) { now.Berths[0].UnderWatch = false })
		},
		"slow source":        func(s *station) { s.hears(7*time.Second, time.Hour) },
		"no berth any more":  func(s *station) { s.is(func(now *rounds.Sight) { now.Berths = nil }) },
		"berth comes to be":  func(s *station) { time.Sleep(time.Minute); s.hears(time.Second, time.Minute) },
		"a gap of 7 seconds": func(s *station) { s.hears(time.Second, time.Minute); time.Sleep(6 * time.Second); s.hears(1e9, 1e10) },
	} {
		t.Run(name, func(t *testing.T) {
			during(t, func(t *testing.T, s *station) {
				story(s)
				if name == "never heard" || name == "the ship leaves" || name == "no berth any more" {
					time.Sleep(time.Hour)
				}
				s.told(0)
			})
		})
	}
}

// A link that comes and goes is one alarm, until it holds.
func TestComesAndGoes(t *testing.T) {
	during(t, func(t *testing.T, s *station) {
		s.hears(time.Second, 10*time.Second)
		s.within(10*time.Second, "east-3 berth-silent")
		s.hears(9*time.Second, 5*time.Minute)
		for range 20 {
			s.hears(time.Second, 3*time.Second)
			time.Sleep(10 * time.Second)
		}
		s.told(1)
	})
}

// The detectors stand: that is told and silence is not, until they have caught up.
func TestWatchStalls(t *testing.T) {
	during(t, func(t *testing.T, s *station) {
		s.hears(time.Second, 10*time.Second)
		stalled := time.Now()
		for time.Since(stalled) < 30*time.Second {
			s.is(func(now *rounds.Sight) {
				now.Berths[0].Behind, now.Berths[0].Stopped = time.Since(stalled), "disk on fire"
			})
			time.Sleep(500 * time.Millisecond)
			if time.Since(stalled) == 10*time.Second {
				s.within(0, "east-3 watch-stalled")
			}
		}
		got, _ := s.log.List("east-3", false)
		if len(got) != 1 || got[0].Priority != detect.Alarm || !strings.HasSuffix(got[0].Detail, "It has stopped: disk on fire.") {
			t.Errorf("alarms: %+v", got)
		}
		s.is(func(now *rounds.Sight) { now.Berths[0].Behind, now.Berths[0].Stopped = 0, "" })
		s.hears(time.Second, 5*time.Second)
		s.within(0)
		s.told(2)
	})
}

// One look at a watch that catches up after a start is not news.
func TestWatchCatchesUp(t *testing.T) {
	during(t, func(t *testing.T, s *station) {
		for range 20 {
			s.is(func(now *rounds.Sight) { now.Berths[0].Behind = 25 * time.Second })
			time.Sleep(900 * time.Millisecond)
			s.is(func(now *rounds.Sight) { now.Berths[0].Behind = 0 })
			s.hears(time.Second, 3*time.Second)
		}
		s.told(0)
	})
}

func TestPlanDamaged(t *testing.T) {
	during(t, func(t *testing.T, s *station) {
		// At the start the plan book has nothing to put the berth under.
		s.is(func(now *rounds.Sight) {
			now.Berths = nil
			now.Damaged = map[string]error{"west-1": errors.New("berth west-1: plan 11 is damaged"), "a-1": errDisk}
		})
		s.within(2*time.Second, "a-1 plan-damaged", "west-1 plan-damaged")
		s.lasts(time.Minute, "a-1 plan-damaged", "west-1 plan-damaged")
		s.is(func(now *rounds.Sight) {
			now.Berths = []rounds.Berth{{Name: "a-1", UnderWatch: true}, {Name: "west-1", UnderWatch: true}}
			now.Damaged = nil
		})
		s.within(2 * time.Second)
		s.told(4)
		// Batches of an older plan that is lost, with and without those of a good one
		// after them by the time of the look.
		for _, reason := range []string{"plan 22 is damaged", ""} {
			s.is(func(now *rounds.Sight) {
				now.Berths[1].PassedOver += 70
				now.Berths[1].NoPlan = reason
			})
			s.within(time.Second, "west-1 plan-damaged")
			if reason != "" {
				s.lasts(time.Minute, "west-1 plan-damaged")
			}
			got, _ := s.log.List("west-1", false)
			if !strings.Contains(got[0].Detail, reason) || got[0].Value < 70 || got[0].Priority != detect.Alarm {
				t.Errorf("alarm: %+v", got[0])
			}
			s.is(func(now *rounds.Sight) { now.Berths[1].NoPlan = "" })
			s.within(2 * time.Second)
		}
		s.told(8)
	})
}

func TestClockAhead(t *testing.T) {
	ahead := func(s *station, by time.Duration) {
		s.is(func(now *rounds.Sight) {
			now.Clocks = nil
			if by > 0 {
				now.Clocks = []rounds.Clock{{Berth: "east-3", Source: "bow", By: by}}
			}
		})
	}
	during(t, func(t *testing.T, s *station) {
		ahead(s, 3*time.Minute+2*time.Second)
		s.within(2*time.Second, "east-3 clock-ahead")
		got, _ := s.log.List("east-3", false)
		if a := got[0]; a.Priority != detect.Alarm || a.Value != 182 || !strings.Contains(a.Detail, "source bow") || !strings.Contains(a.Detail, "3m2s") {
			t.Errorf("alarm: %+v", a)
		}
		// A restart forgets the refusals; the source comes back with its clock as it was.
		s.stop()
		ahead(s, 0)
		s.start()
		s.lasts(6*time.Second, "east-3 clock-ahead")
		ahead(s, 3*time.Minute)
		s.lasts(time.Minute, "east-3 clock-ahead")
		ahead(s, 0)
		s.within(2 * time.Second)
		s.told(2)
	})
}

// A clock that was set back is told until its readings are watched again.
func TestClockBack(t *testing.T) {
	during(t, func(t *testing.T, s *station) {
		back := func(clocks ...rounds.Clock) {
			s.is(func(now *rounds.Sight) { now.ClocksBack = clocks })
		}
		back(rounds.Clock{Berth: "east-3", Source: "bow", By: 10 * time.Minute})
		s.within(2*time.Second, "east-3 clock-back")
		got, _ := s.log.List("east-3", false)
		if a := got[0]; a.Priority != detect.Alarm || a.Value != 600 || !strings.Contains(a.Detail, "source bow") || !strings.Contains(a.Detail, "10m0s old") {
			t.Errorf("alarm: %+v", a)
		}
		s.lasts(time.Minute, "east-3 clock-back")
		back()
		s.within(2 * time.Second)
		s.told(2)
	})
}

// A berth whose only source is refused for its clock is one alarm: that it is not
// heard either is told when nothing of the clock is known any more.
func TestClockAheadIsWhyItIsSilent(t *testing.T) {
	during(t, func(t *testing.T, s *station) {
		s.hears(time.Second, 10*time.Second)
		s.is(func(now *rounds.Sight) { now.Clocks = []rounds.Clock{{Berth: "east-3", Source: "bow", By: time.Hour}} })
		s.within(2*time.Second, "east-3 clock-ahead")
		s.lasts(time.Minute, "east-3 clock-ahead")
		s.is(func(now *rounds.Sight) { now.Clocks = nil })
		s.within(2*time.Second, "east-3 berth-silent")
		s.told(3)
	})
}

// The store is down, also across a restart, after which nothing waits yet.
func TestHistoryLate(t *testing.T) {
	during(t, func(t *testing.T, s *station) {
		down := func(for_ time.Duration) {
			for began := time.Now(); time.Since(began) < for_; time.Sleep(time.Second) {
				s.is(func(now *rounds.Sight) { now.History = time.Since(began) })
			}
		}
		down(4 * time.Second) // a hiccup
		s.is(func(now *rounds.Sight) { now.History = 0 })
		time.Sleep(time.Minute)
		s.told(0)
		down(11 * time.Second)
		s.within(0, "history-late")
		got, _ := s.log.List("", false)
		if a := got[0]; a.Priority != detect.Caution || a.Limit != 5 || !strings.HasPrefix(a.Detail, "Server: history is") {
			t.Errorf("alarm: %+v", a)
		}
		s.stop()
		s.start()
		down(time.Minute)
		s.told(1)
		s.is(func(now *rounds.Sight) { now.History = 0 })
		s.within(11 * time.Second)
		s.told(2)
	})
}

// The journal's limits and losses, across a restart after which the journal has
// not looked yet: what is over by then ends, what is not goes on.
func TestJournalsLimits(t *testing.T) {
	during(t, func(t *testing.T, s *station) {
		disk := rounds.Limit{Kind: "disk", Share: 0.96}
		unread := rounds.Limit{Kind: "unread-bytes", Reader: "store", Share: 0.8}
		s.is(func(now *rounds.Sight) {
			now.Limits = []rounds.Limit{disk, unread}
			now.Losses = []rounds.Loss{{Reader: "watch-east-3", Batches: 12, From: 7, To: 18}}
		})
		s.within(time.Second, "journal-loss-watch-east-3", "journal-pressure-disk", "journal-pressure-unread-bytes-store")
		got, _ := s.log.List("", false)
		if a := got[0]; a.Priority != detect.Alarm || a.Value != 12 || !strings.Contains(a.Detail, "positions 7 to 18") {
			t.Errorf("loss: %+v", a)
		}
		if a := got[2]; a.Priority != detect.Warning || a.Value != 80 || !strings.Contains(a.Detail, "what store has not read of the journal (unread-bytes) is at 80 %") {
			t.Errorf("pressure: %+v", a)
		}
		s.is(func(now *rounds.Sight) { now.Losses = nil })
		s.lasts(5*time.Second, "journal-loss-watch-east-3", "journal-pressure-disk", "journal-pressure-unread-bytes-store")
		s.within(10*time.Second, "journal-pressure-disk", "journal-pressure-unread-bytes-store")
		s.stop()
		s.is(func(now *rounds.Sight) { now.Limits = nil })
		s.start()
		time.Sleep(5 * time.Second)
		s.is(func(now *rounds.Sight) { now.Limits = []rounds.Limit{disk} })
		s.within(10*time.Second, "journal-pressure-disk")
		s.lasts(time.Minute, "journal-pressure-disk")
		s.told(5)
	})
}

// What could not be seen or told is tried again, and logged once.
func TestLookOrLogFails(t *testing.T) {
	var s *station
	during(t, func(t *testing.T, at *station) {
		s = at
		s.hears(time.Second, 10*time.Second)
		s.is(func(*rounds.Sight) { s.fail = errDisk })
		time.Sleep(time.Minute)
		s.full.Store(true)
		s.is(func(*rounds.Sight) { s.fail = nil })
		time.Sleep(time.Minute)
		s.full.Store(false)
		s.within(2*time.Second, "east-3 berth-silent")
		s.is(func(*rounds.Sight) { s.fail = errDisk })
		time.Sleep(time.Minute)
	})
	if n := strings.Count(s.logged.String(), errDisk.Error()); n != 2 {
		t.Errorf("logged %d times: %s", n, s.logged.String())
	}
	s.told(1)
}

func TestOptions(t *testing.T) {
	look := func(context.Context, time.Time) (rounds.Sight, error) { return rounds.Sight{}, nil }
	for want, o := range map[string]rounds.Options{
		"Look, Alarms and Log are required": {Look: look},
		"SilentAfter is -1s":                {Look: look, Alarms: &alarm.Log{}, Log: slog.Default(), SilentAfter: -time.Second},
	} {
		if _, err := rounds.New(o); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want %s", err, want)
		}
	}
}
