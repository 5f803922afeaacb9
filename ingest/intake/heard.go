package intake

import "time"

// silence is how long a source may send nothing and count as having gone on.
const silence = 8 * time.Second // common practice, no source

// Heard is when batches of a source came in, by the server's clock.
type Heard struct {
	Berth, Source string
	Since, Last   time.Time // since when without a silence
	// Done: it ended its stream itself, as one that has no more to send.
	Done bool
}

type heard struct {
	since, last time.Time
	opened      time.Time // its newest stream
	done        bool
	reached     int64     // event time, Unix nanoseconds
	before      bool      // it is known from before the server started only
	clock       clock     // as its newest batch came
	waits       bool      // with a batch, for other sources
	waited      time.Time // until when it last did
}

// hear notes that a batch of a source was taken.
func (b *berth) hear(src *source, at time.Time, reached int64, c clock) {
	b.mu.Lock()
	defer b.mu.Unlock()
	h := &src.heard
	if at.Sub(h.last) >= silence {
		h.since = at
	}
	h.last, h.done, h.before, h.clock = at, false, false, c
	h.reached = max(h.reached, reached)
	b.news()
}

// knows reports whether a source has ever sent.
func (b *berth) knows(src *source) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return src.heard.reached > 0
}

// done notes that a source has ended its stream itself.
func (b *berth) done(src *source) {
	b.mu.Lock()
	defer b.mu.Unlock()
	src.heard.done = true
	b.news()
}

// Heard lists when batches of each source that is known came in, by berth and source.
func (s *Server) Heard() (out []Heard) {
	s.each(func(b *berth) {
		for _, src := range b.inOrder() {
			if h := src.heard; !h.last.IsZero() {
				out = append(out, Heard{Berth: b.name, Source: src.name, Since: h.since, Last: h.last, Done: h.done})
			}
		}
	})
	return out
}
