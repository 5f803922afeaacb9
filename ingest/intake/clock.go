package intake

import (
	"time"

	"hawser/detect/reading"
)

// clock is how a batch's times stood to the server's clock as it came, nanoseconds: how
// far the newest was ahead of it, and how far the oldest was behind.
type clock struct{ ahead, behind int64 }

func clockOf(b *reading.Block, reached int64, arrived time.Time) clock {
	oldest := reached
	for i := range b.Series {
		if s := &b.Series[i]; s.Len() > 0 {
			oldest = min(oldest, s.Time[0])
		}
	}
	return clock{reached - arrived.UnixNano(), arrived.UnixNano() - oldest}
}

// right reports whether a clock is about the server's.
func (c clock) right() bool { return max(c.ahead, -c.ahead) <= lead }

// mayLead is how far ahead of the server's clock a reading of the stream may be. It is
// what is tolerated of any source; but beside another whose clock agrees with the
// server's, or that is to come back, no more than the watch can bear, as it would bring
// the watch past the other's readings before they come.
func (d *delivery) mayLead(now time.Time) time.Duration {
	most := d.s.o.ClockTolerance
	b := d.berth
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, other := range b.sources {
		h := &other.heard
		present := now.Sub(h.last) < recently || h.before && now.Before(d.until)
		if other != d.src && present && !h.done && h.clock.right() {
			most = min(most, time.Duration(max(lead, int64(reading.Lateness)-h.clock.behind)))
		}
	}
	return most
}

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
func (s *Server) ClocksAhead(since time.Time) (out []ClockAhead) {
	s.each(func(b *berth) {
		if b.ahead.At.After(since) {
			out = append(out, b.ahead)
		}
	})
	return out
}
