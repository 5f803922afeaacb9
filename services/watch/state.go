package watch

import (
	"maps"
	"slices"
	"sync"
	"time"
)

// State is how the watch over a berth stands.
type State struct {
	Berth string
	// Heard is when readings were last put through the detectors, by this machine's
	// clock; zero for never. What a snapshot brought back was heard at the start.
	Heard time.Time
	// UnderWatch is the detectors' word; see detect.Berth.
	UnderWatch bool
	// PassedOver counts the batches since the start that were not put through
	// because their plan is lost. NoPlan says why, until one was put through again.
	PassedOver uint64
	NoPlan     string
	// Stopped says why the watch stopped, until it goes on.
	Stopped string
	// ClockBack is of the source whose clock was last found to be set back.
	ClockBack ClockBack
}

// states are the berths' states. Safe for concurrent use.
type states struct {
	mu sync.Mutex
	of map[string]*State
}

// change changes a berth's state.
func (s *states) change(berth string, change func(*State)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	at := s.of[berth]
	if at == nil {
		at = &State{Berth: berth, UnderWatch: true}
		s.of[berth] = at
	}
	change(at)
}

// States gives the state of every berth under watch, sorted.
func (w *Watch) States() []State {
	w.states.mu.Lock()
	defer w.states.mu.Unlock()
	var out []State
	for _, berth := range slices.Sorted(maps.Keys(w.states.of)) {
		out = append(out, *w.states.of[berth])
	}
	return out
}

// heardBefore notes that the unit had taken readings before the start. A berth that
// starts again within a process is not heard by that.
func (b *berthWatch) heardBefore() {
	now, watched := time.Now(), b.unit.UnderWatch()
	b.states.change(b.berth, func(s *State) {
		if s.Heard.IsZero() {
			s.Heard, s.UnderWatch = now, watched
		}
	})
}

// heard notes that the unit has taken readings.
func (b *berthWatch) heard() {
	now, watched := time.Now(), b.unit.UnderWatch()
	b.states.change(b.berth, func(s *State) {
		s.Heard, s.UnderWatch, s.NoPlan, s.Stopped = now, watched, "", ""
	})
}

// passedOver notes that a batch was not put through because its plan is lost.
func (b *berthWatch) passedOver(err error) {
	b.states.change(b.berth, func(s *State) {
		s.PassedOver++
		s.NoPlan, s.Stopped = err.Error(), ""
	})
}

// stopped notes why the watch does not go on for now.
func (b *berthWatch) stopped(err error) {
	b.states.change(b.berth, func(s *State) { s.Stopped = err.Error() })
}
