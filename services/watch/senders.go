package watch

import (
	"maps"
	"sync"

	"hawser/detect/mooring"
	"hawser/detect/reading"
)

// senders is which source the load of each line last came from, by berth. As the
// entries come in the journal's order and the snapshot has it, it is the same at each
// position of the journal, live and after a restart. Its bound is the lines of the
// plans: the intake takes no others. Safe for concurrent use; each berth has one that writes.
type senders struct {
	mu   sync.Mutex
	from map[string]map[string]string // source by line by berth
}

// note takes what came from a source. It allocates only for what is new.
func (s *senders) note(berth, source string, b *reading.Block) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i := range b.Series {
		c := b.Series[i].Channel
		if c.Kind != reading.Tension || b.Series[i].Len() == 0 || s.from[berth][c.Line] == source {
			continue
		}
		if s.from[berth] == nil {
			s.from[berth] = map[string]string{}
		}
		s.from[berth][c.Line] = source
	}
}

// keep forgets the lines that a plan does not have.
func (s *senders) keep(berth string, plan *mooring.Plan) {
	s.mu.Lock()
	defer s.mu.Unlock()
	maps.DeleteFunc(s.from[berth], func(line, _ string) bool { return plan.Line(line) < 0 })
}

// restore has a berth's senders be those of a snapshot.
func (s *senders) restore(berth string, from map[string]string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.from[berth] = from
}

func (s *senders) of(berth string) map[string]string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return maps.Clone(s.from[berth])
}

// Senders gives the source that last sent the load of each line of a berth, by line.
// Lines whose load has not come yet are not among them.
func (w *Watch) Senders(berth string) map[string]string { return w.sent.of(berth) }
