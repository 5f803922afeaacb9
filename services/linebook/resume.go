package linebook

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"hawser/ingest/planbook"
	"maps"
	"math"
	"slices"
	"time"
)

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
	return newShip(name), nil
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
// journal, nil where she has none. Those past it are taken back for good: once the
// journal has grown over them nothing would tell.
func (b *Book) readShip(ctx context.Context, name string, end uint64) (*ship, error) {
	var best *ship
	var past []*ship
	damaged := false
	for slot := range 2 {
		data, ok, err := b.get(ctx, slotKey(docKey(name), slot))
		if err != nil {
			return nil, err
		}
		if !ok {
			continue
		}
		s, err := decodeShip(name, data)
		if errors.Is(err, errDamaged) {
			b.o.Log.Error("records of a ship are damaged, going on from those kept before", "ship", name, "err", err)
			damaged = true
			continue
		}
		if err != nil {
			return nil, err
		}
		s.slot = slot
		if s.Position > end {
			past = append(past, s)
		} else if best == nil || s.newer(best) {
			best = s
		}
	}
	best, err := b.takeBack(ctx, best, past, end)
	if err != nil || !damaged {
		return best, err
	}
	if best == nil {
		best = newShip(name)
	}
	best.Uncertain = true
	return best, nil
}

// newer reports whether s was kept after other.
func (s *ship) newer(other *ship) bool {
	return cmp.Or(cmp.Compare(s.Position, other.Position), cmp.Compare(s.Alarms, other.Alarms), cmp.Compare(s.Ropes, other.Ropes)) > 0
}

// takeBack does away with a ship's documents that are past the end of the journal.
// Where there is no other and she was there before that, the older of them stays, as
// in doubt: months of service are not thrown away for some seconds.
func (b *Book) takeBack(ctx context.Context, best *ship, past []*ship, end uint64) (*ship, error) {
	slices.SortFunc(past, func(s, other *ship) int { return cmp.Compare(s.Position, other.Position) })
	if best == nil && len(past) > 0 && len(past[0].Uses) > 0 && past[0].Uses[0].First <= end {
		best = past[0]
		b.o.Log.Warn("the journal has lost more than the records of a ship can be taken back by", "ship", best.Name, "records", best.Position, "last", end)
		best.Position, best.Uncertain = end, true
		data, err := json.Marshal(best)
		if err != nil {
			return nil, err
		}
		if err := b.o.Documents.Put(ctx, bucket, slotKey(docKey(best.Name), best.slot), data); err != nil {
			return nil, err
		}
		past = past[1:]
	}
	for _, s := range past {
		if err := b.o.Documents.Put(ctx, bucket, slotKey(docKey(s.Name), s.slot), nil); err != nil {
			return nil, err
		}
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
			b.o.Log.Error("the list of line records being written is damaged", "err", err)
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
		if errors.Is(err, planbook.ErrDamaged) {
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
		b.o.Log.Error("a mark of the line records is damaged, going on from the one before", "err", err)
		return nil, nil
	}
	if m.Form != form {
		return nil, fmt.Errorf("line records: %s is of form %d, written by another version of hawser; this one knows %d", key, m.Form, form)
	}
	return m, nil
}
