package main

import (
	"cmp"
	"maps"
	"slices"
	"sync"
	"time"

	"hawser/ingest/journal"
	"hawser/services/rounds"
)

// limits is what the journal has said of its limits and losses, for the rounds to
// look at. It is bounded by the journal's readers. The zero value is ready.
type limits struct {
	mu   sync.Mutex
	near map[limit]float64 // share of it
	lost map[string]loss   // by reader
}

type limit struct {
	kind   journal.PressureKind
	reader string
}

type loss struct {
	rounds.Loss
	at time.Time
}

// pressure takes what the journal says of a limit.
func (l *limits) pressure(p journal.Pressure) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.near == nil {
		l.near = map[limit]float64{}
	}
	k := limit{p.Kind, p.Reader}
	if p.Raised {
		l.near[k] = p.Share
	} else {
		delete(l.near, k)
	}
}

// forget lets go of what was near: the journal has been opened anew and says it again.
func (l *limits) forget() {
	l.mu.Lock()
	defer l.mu.Unlock()
	clear(l.near)
}

// loss takes what a reader could not be given.
func (l *limits) loss(j journal.Loss) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.lost == nil {
		l.lost = map[string]loss{}
	}
	before := l.lost[j.Reader].Batches
	l.lost[j.Reader] = loss{rounds.Loss{Reader: j.Reader, Batches: before + uint64(j.To-j.From+1), From: uint64(j.From), To: uint64(j.To)}, time.Now()}
}

// look puts into a sight which limits are near and what was lost since a time.
func (l *limits) look(s *rounds.Sight, since time.Time) {
	l.mu.Lock()
	defer l.mu.Unlock()
	byName := func(x, y limit) int { return cmp.Or(cmp.Compare(x.kind, y.kind), cmp.Compare(x.reader, y.reader)) }
	for _, k := range slices.SortedFunc(maps.Keys(l.near), byName) {
		s.Limits = append(s.Limits, rounds.Limit{Kind: string(k.kind), Reader: k.reader, Share: l.near[k]})
	}
	for _, reader := range slices.Sorted(maps.Keys(l.lost)) {
		if at := l.lost[reader]; at.at.After(since) {
			s.Losses = append(s.Losses, at.Loss)
		}
	}
}
