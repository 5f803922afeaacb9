package linebook

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"time"
)

const (
	bucket   = "lines"
	markKey  = "mark"
	begunKey = "begun"
)

// mark says up to where all ships' records have the journal and the alarm log.
type mark struct {
	Form     int                `json:"form"`
	Position uint64             `json:"position"`
	Alarms   uint64             `json:"alarms"`
	Missed   uint64             `json:"missed"`
	Berths   map[string][]spell `json:"berths"`
	// Saved are the ships that were written for it.
	Saved []string `json:"saved"`
}

// begun is what is being written: after a stop on the way the ships in it may be
// further than the mark.
type begun struct {
	Ships []string `json:"ships"`
}

// keep writes what has changed: who is written, the ships, the mark. That it could
// not is told and no more: a restart reads more again.
func (b *Book) keep(ctx context.Context) {
	b.saved = time.Now()
	if err := b.write(ctx); err != nil {
		b.m.keepErrors.Inc()
		b.o.Log.Warn("line records not kept", "err", err)
	}
}

// written is a document on its way.
type written struct {
	ship *ship
	key  string
	data []byte
}

func (b *Book) write(ctx context.Context) error {
	ships, m, err := b.freeze()
	if err != nil || len(ships) == 0 {
		return err
	}
	undone := true
	defer func() {
		if undone {
			b.thaw(ships)
		}
	}()
	if err := b.put(ctx, begunKey, begun{m.Saved}); err != nil {
		return err
	}
	for _, w := range ships {
		if err := b.o.Documents.Put(ctx, bucket, w.key, w.data); err != nil {
			return fmt.Errorf("%s: %w", w.ship.Name, err)
		}
		w.ship.slot = 1 - w.ship.slot // of the fold's goroutine
	}
	if err := b.put(ctx, slotKey(markKey, 1-b.markSlot), m); err != nil {
		return err
	}
	b.markSlot = 1 - b.markSlot
	undone = false
	b.forget()
	return nil
}

// freeze encodes what has changed, all at one point of the fold.
func (b *Book) freeze() ([]*written, *mark, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	m := &mark{Form: form, Position: b.position, Alarms: b.alarms, Missed: b.missed, Berths: map[string][]spell{}}
	for name, at := range b.berths {
		if len(at.spells) > 0 {
			m.Berths[name] = slices.Clone(at.spells)
		}
	}
	var out []*written
	for _, name := range slices.Sorted(maps.Keys(b.ships)) {
		s := b.ships[name]
		if !s.changed {
			continue
		}
		was := [3]uint64{s.Position, s.Alarms, s.Ropes}
		// Of a ship that is further already, after a restart, what came is a repeat.
		s.Position, s.Alarms, s.Ropes = max(s.Position, b.position), max(s.Alarms, b.alarms), max(s.Ropes, b.told())
		data, err := json.Marshal(s)
		s.Position, s.Alarms, s.Ropes = was[0], was[1], was[2]
		if err != nil {
			return nil, nil, fmt.Errorf("%s: %w", name, err)
		}
		s.changed = false
		out = append(out, &written{ship: s, key: slotKey(docKey(name), 1-s.slot), data: data})
		m.Saved = append(m.Saved, name)
	}
	return out, m, nil
}

// thaw has what was frozen and not kept written again.
func (b *Book) thaw(ships []*written) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, w := range ships {
		w.ship.changed = true
	}
}

// forget lets the ships go that are at no berth and have not changed since.
func (b *Book) forget() {
	b.mu.Lock()
	defer b.mu.Unlock()
	here := map[string]bool{}
	for _, at := range b.berths {
		if n := len(at.spells); n > 0 {
			here[at.spells[n-1].Ship] = true
		}
	}
	for name, s := range b.ships {
		if !s.changed && !here[name] {
			delete(b.ships, name)
		}
	}
}

func (b *Book) put(ctx context.Context, key string, v any) error {
	data, err := json.Marshal(v)
	if err != nil {
		return err
	}
	return b.o.Documents.Put(ctx, bucket, key, data)
}
