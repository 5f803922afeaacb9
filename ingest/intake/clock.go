package intake

import (
	"cmp"
	"slices"
	"time"
)

// ClockAhead is the newest refusal of a berth's readings for being dated further
// ahead of the server's clock than is tolerated.
type ClockAhead struct {
	Berth, Source string
	By            time.Duration
	At            time.Time // by the server's clock
}

// refusedAhead notes that a reading of a time was refused at a time.
func (b *berth) refusedAhead(source string, reading int64, at time.Time) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.ahead = ClockAhead{Berth: b.name, Source: source, By: time.Unix(0, reading).Sub(at), At: at}
}

// ClocksAhead lists the berths of which readings were refused for their clock
// since a time, sorted.
func (s *Server) ClocksAhead(since time.Time) []ClockAhead {
	s.mu.Lock()
	defer s.mu.Unlock()
	var out []ClockAhead
	for _, b := range s.berths {
		b.mu.Lock()
		if a := b.ahead; a.At.After(since) {
			out = append(out, a)
		}
		b.mu.Unlock()
	}
	slices.SortFunc(out, func(x, y ClockAhead) int { return cmp.Compare(x.Berth, y.Berth) })
	return out
}
