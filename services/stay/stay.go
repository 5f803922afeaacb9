// Package stay says which ship lay at which berth, from when to when. It decides
// nothing and keeps no readings. Its invariant: the stays are a fold of what the
// journal holds, and readings that come again change nothing.
//
//	journal ─► Keeper ─► Fold, one a berth ─► lists, reports
//	             └─► a document a berth, and the position they are of
//
// The rules, in event time:
//
//  1. The first reading under a ship's plan opens her stay: she arrives.
//  2. She is made fast when the berth's watch first says 1, and has let go when it
//     last said 0 after that. A berth that never says anything of its watch has
//     neither.
//  3. Readings under another ship's plan end the stay at its newest reading.
//  4. So does a silence of six hours with the watch at 0, or of three days whatever
//     it last said. What comes then opens another stay, also of the same ship.
//  5. Another plan of the same ship is the same stay.
//  6. A time over a minute without any reading is a gap.
//
// Readings older than the newest of the berth change nothing: they are late, or
// come again. So a berth's recordings of the past must be sent in order of time to
// be listed.
package stay

import (
	"fmt"
	"hawser/detect/reading"
	"math"
	"slices"
	"time"
)

const (
	// gapOver is the time without readings that counts as a gap.
	gapOver = time.Minute
	// goneAfter is the silence after the watch that ends a stay, and lostAfter the
	// one that does under watch.
	goneAfter = 6 * time.Hour
	lostAfter = 72 * time.Hour
	// mostGaps bounds the gaps that a stay lists; mostStays the stays of a berth.
	mostGaps  = 100
	mostStays = 1000
)

// Stay is one ship at one berth without another in between.
type Stay struct {
	ID       string    `json:"id"` // names the stay on this server, for good
	Berth    string    `json:"berth"`
	Ship     string    `json:"ship"`
	Plans    []Use     `json:"plans"`   // those she was under, in order
	Arrival  time.Time `json:"arrival"` // first reading
	MadeFast time.Time `json:"made_fast,omitzero"`
	LetGo    time.Time `json:"let_go,omitzero"`
	// Departure is her last reading, zero while she is there.
	Departure time.Time `json:"departure,omitzero"`
	Newest    time.Time `json:"newest"` // reading so far
	// Gaps are the first hundred; Silent is all of them together.
	Gaps    []Gap         `json:"gaps,omitempty"`
	GapsAll int           `json:"gaps_in_all"`
	Silent  time.Duration `json:"silent_ns"`
}

// Use is a plan and since when.
type Use struct {
	Plan  string    `json:"plan"` // fingerprint
	Since time.Time `json:"since"`
}

// Gap is a time without readings.
type Gap struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
}

// End is the end of what is known of the stay.
func (s *Stay) End() time.Time {
	if s.Departure.IsZero() {
		return s.Newest
	}
	return s.Departure
}

func (s *Stay) clone() Stay {
	c := *s
	c.Plans, c.Gaps = slices.Clone(s.Plans), slices.Clone(s.Gaps)
	return c
}

// Event is what a batch says of a stay.
type Event struct {
	Ship, Plan string // name; fingerprint
	From, To   time.Time
	Watch      []Watch // in order of time
}

// EventOf is what a block says of a stay, its ship and plan left open; ok is false
// where it has no good reading.
func EventOf(b *reading.Block) (e Event, ok bool) {
	from, to := int64(math.MaxInt64), int64(math.MinInt64)
	for i := range b.Series {
		s := &b.Series[i]
		for j, at := range s.Time {
			if s.QualityAt(j) != reading.Good {
				continue
			}
			from, to = min(from, at), max(to, at)
			if s.Channel.Kind == reading.UnderWatch {
				e.Watch = append(e.Watch, Watch{time.Unix(0, at).UTC(), s.Value[j] != 0})
			}
		}
	}
	e.From, e.To = time.Unix(0, from).UTC(), time.Unix(0, to).UTC()
	return e, to >= from
}

// Watch is a word of the berth's own on whether the ship is under watch.
type Watch struct {
	At time.Time
	On bool
}

// Fold is the stays of one berth. It is plain data, to be kept as JSON, and not
// safe for concurrent use.
type Fold struct {
	Berth   string
	Stays   []Stay    // oldest first; the last may be under way
	Watched bool      // the newest word of the watch in the stay under way
	WordAt  time.Time // when that was, zero for never
}

// Take folds one batch.
func (f *Fold) Take(e *Event) {
	s := f.current()
	if s != nil && !e.To.After(s.Newest) {
		if e.Ship == s.Ship && !e.From.Before(s.Arrival) {
			f.watch(s, e.Watch) // of a source that is a little behind another
		}
		return
	}
	if s != nil && f.over(s, e) {
		s.Departure = s.Newest
		f.WordAt, f.Watched = time.Time{}, false
		s = nil
	}
	if s == nil {
		s = f.open(e)
	}
	if e.From.Sub(s.Newest) > gapOver {
		if s.GapsAll++; len(s.Gaps) < mostGaps {
			s.Gaps = append(s.Gaps, Gap{s.Newest, e.From})
		}
		s.Silent += e.From.Sub(s.Newest)
	}
	if s.Plans[len(s.Plans)-1].Plan != e.Plan {
		s.Plans = append(s.Plans, Use{e.Plan, e.From})
	}
	f.watch(s, e.Watch)
	s.Newest = e.To
}

// current is the stay under way, nil where nobody is there.
func (f *Fold) current() *Stay {
	if n := len(f.Stays); n > 0 && f.Stays[n-1].Departure.IsZero() {
		return &f.Stays[n-1]
	}
	return nil
}

// over reports whether a stay ended before an event.
func (f *Fold) over(s *Stay, e *Event) bool {
	silent := e.From.Sub(s.Newest)
	return e.Ship != s.Ship || silent > lostAfter || silent > goneAfter && !f.WordAt.IsZero() && !f.Watched
}

func (f *Fold) open(e *Event) *Stay {
	if len(f.Stays) >= mostStays {
		f.Stays = slices.Delete(f.Stays, 0, len(f.Stays)-mostStays+1)
	}
	f.Stays = append(f.Stays, Stay{
		ID:    fmt.Sprintf("%s-%s", f.Berth, e.From.UTC().Format("20060102T150405Z")),
		Berth: f.Berth, Ship: e.Ship, Plans: []Use{{e.Plan, e.From}}, Arrival: e.From, Newest: e.From,
	})
	return &f.Stays[len(f.Stays)-1]
}

func (f *Fold) watch(s *Stay, words []Watch) {
	for _, w := range words {
		if !w.At.After(f.WordAt) {
			continue // told before
		}
		switch {
		case w.On:
			s.LetGo = time.Time{}
			if s.MadeFast.IsZero() {
				s.MadeFast = w.At
			}
		case f.Watched:
			s.LetGo = w.At
		}
		f.Watched, f.WordAt = w.On, w.At
	}
}

// list copies the stays, newest first. A ship that has been silent for as long by
// the server's clock as ends a stay is shown as gone, before the next one comes.
func (f *Fold) list(now time.Time) []Stay {
	out := make([]Stay, 0, len(f.Stays))
	for k := len(f.Stays) - 1; k >= 0; k-- {
		s := f.Stays[k].clone()
		if s.Departure.IsZero() && f.over(&s, &Event{Ship: s.Ship, From: now}) {
			s.Departure = s.Newest
		}
		out = append(out, s)
	}
	return out
}
