package linebook

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
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

// get reads a document; ok is false where there is none or it was blanked.
func (b *Book) get(ctx context.Context, key string) (data []byte, ok bool, err error) {
	data, ok, err = b.o.Documents.Get(ctx, bucket, key)
	return data, ok && len(data) > 0, err
}

// ship gives a ship's records: those in memory, else as kept, else new ones.
func (b *Book) ship(ctx context.Context, name string) (*ship, error) {
	b.mu.Lock()
	s := b.ships[name]
	b.mu.Unlock()
	if s != nil {
		return s, nil
	}
	s, err := b.readShip(ctx, name, math.MaxUint64)
	if err != nil || s != nil {
		return s, err
	}
	return &ship{Form: form, Name: name, Fitted: map[string]string{}}, nil
}

// hold has a ship in memory, unless another call has brought her meanwhile.
func (b *Book) hold(s *ship) *ship {
	if held := b.ships[s.Name]; held != nil {
		return held
	}
	b.ships[s.Name] = s
	return s
}

// readShip reads the newest of a ship's documents that is not past the end of the
// journal, nil where she has none. One that is past it is blanked for good: once the
// journal has grown over it nothing would tell.
func (b *Book) readShip(ctx context.Context, name string, end uint64) (*ship, error) {
	var best, past *ship
	key := docKey(name)
	for slot := range 2 {
		data, ok, err := b.get(ctx, slotKey(key, slot))
		if err != nil {
			return nil, err
		}
		if !ok {
			continue
		}
		s, err := decodeShip(name, data)
		if err != nil {
			return nil, err
		}
		s.slot = slot
		switch {
		case s.Position > end:
			if past == nil || s.Position < past.Position {
				past = s
			}
			if err := b.o.Documents.Put(ctx, bucket, slotKey(key, slot), nil); err != nil {
				return nil, err
			}
		case best == nil || s.Position > best.Position || s.Position == best.Position && s.Alarms+s.Ropes > best.Alarms+best.Ropes:
			best = s
		}
	}
	if best == nil && past != nil {
		// Months of service are not thrown away for some seconds of doubt.
		b.o.Log.Warn("the journal has lost more than the records of a ship can be taken back by", "ship", name, "records", past.Position, "last", end)
		past.Position, past.Uncertain, past.changed = end, true, true
		best = past
	}
	return best, nil
}

// resume brings the records to what was kept, as far as the journal still goes.
func (b *Book) resume(ctx context.Context, end uint64) error {
	var best *mark
	slot, touched := 0, map[string]bool{}
	for i := range 2 {
		m, err := b.readMark(ctx, slotKey(markKey, i))
		if err != nil {
			return err
		}
		if m == nil {
			continue
		}
		for _, name := range m.Saved {
			touched[name] = true
		}
		if m.Position > end {
			if err := b.o.Documents.Put(ctx, bucket, slotKey(markKey, i), nil); err != nil {
				return err
			}
		} else if best == nil || m.Position > best.Position || m.Position == best.Position && m.Alarms > best.Alarms {
			best, slot = m, i
		}
	}
	if best == nil {
		best = &mark{}
	}
	data, ok, err := b.get(ctx, begunKey)
	if err != nil {
		return err
	}
	var writing begun
	if ok {
		if err := json.Unmarshal(data, &writing); err != nil {
			return fmt.Errorf("line records: begun: %w", err)
		}
	}
	for _, name := range writing.Ships {
		touched[name] = true
	}
	for _, spells := range best.Berths {
		touched[spells[len(spells)-1].Ship] = true
	}
	ships := map[string]*ship{}
	for _, name := range slices.Sorted(maps.Keys(touched)) {
		s, err := b.readShip(ctx, name, end)
		if err != nil {
			return err
		}
		if s != nil {
			ships[name] = s
		}
	}
	return b.begin(ctx, best, slot, ships)
}

// begin goes on from a mark.
func (b *Book) begin(ctx context.Context, m *mark, slot int, ships map[string]*ship) error {
	b.mu.Lock()
	b.position, b.alarms, b.missed, b.markSlot = m.Position, m.Alarms, m.Missed, slot
	b.ships, b.berths, b.pending, b.ropes = ships, map[string]*berth{}, nil, 0
	for name, spells := range m.Berths {
		b.berths[name] = &berth{name: name, spells: spells}
	}
	b.mu.Unlock()
	if err := b.rebind(ctx, m); err != nil {
		return err
	}
	if err := b.readRopes(ctx); err != nil {
		return err
	}
	b.saved, b.resumed, b.end = time.Now(), true, math.MaxUint64
	return nil
}

// rebind puts the berths under the plans they were under. One whose plan is lost
// waits for the next entry under another.
func (b *Book) rebind(ctx context.Context, m *mark) error {
	newest := func(name string) spell { return m.Berths[name][len(m.Berths[name])-1] }
	for _, name := range slices.SortedFunc(maps.Keys(m.Berths), func(a, b string) int { return cmp.Compare(newest(a).First, newest(b).First) }) {
		last := newest(name)
		plan, err := b.o.Plans.PlanByFingerprint(ctx, name, last.Plan)
		if errors.Is(err, ErrPlanLost) {
			continue
		}
		if err != nil {
			return err
		}
		s, err := b.ship(ctx, last.Ship)
		if err != nil {
			return err
		}
		b.mu.Lock()
		b.berths[name].use(b.hold(s), plan)
		b.mu.Unlock()
	}
	return nil
}

func (b *Book) readMark(ctx context.Context, key string) (*mark, error) {
	data, ok, err := b.get(ctx, key)
	if err != nil || !ok {
		return nil, err
	}
	m := &mark{}
	if err := json.Unmarshal(data, m); err != nil {
		return nil, fmt.Errorf("line records: %s: %w", key, err)
	}
	if m.Form != form {
		return nil, errors.New("line records: written by another version of hawser")
	}
	return m, nil
}
