package linebook

import (
	"context"
	"errors"
	"time"

	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/ingest/batch"
	"hawser/ingest/planbook"
)

// spell is since which journal position a berth is under a plan.
type spell struct {
	First uint64 `json:"first"`
	Ship  string `json:"ship"`
	Plan  string `json:"plan"`
}

// spellsKept is how far back an alarm that comes late finds its ship.
const spellsKept = 16

// berth is what the fold knows of a berth.
type berth struct {
	name   string
	spells []spell // oldest first
	// Of the newest spell; nil until its next entry after a start.
	plan  *mooring.Plan
	ship  *ship
	lines []*Record
	index map[string]int // of lines by id: looked up for each series of each batch
	// The series of a block by line, reused.
	tension, payout, brake []*reading.Series
}

// under reports whether the berth is bound to a plan.
func (b *berth) under(fingerprint string) bool {
	return b.ship != nil && b.spells[len(b.spells)-1].Plan == fingerprint
}

// take folds one entry.
func (b *Book) take(ctx context.Context, e *batch.Entry) error {
	if e.Position <= b.position { // written by this goroutine only
		return nil
	}
	if err := b.letAlarms(ctx, e.Position); err != nil {
		return err
	}
	at, err := b.bind(ctx, e)
	if errors.Is(err, planbook.ErrDamaged) {
		at = nil
	} else if err != nil {
		return err
	}
	var block *reading.Block
	if at != nil {
		if block, err = b.decoder.DecodeEntry(e); err != nil {
			b.o.Log.Error("unreadable batch is in no line record", "berth", e.Berth, "position", e.Position, "err", err)
			at = nil
		}
	}
	b.mu.Lock()
	b.missed += e.Position - b.position - 1
	if at == nil {
		b.missed++
	} else if e.Position > at.ship.Position {
		at.take(block)
		at.ship.changed = true
	}
	b.position = e.Position
	b.tellDue()
	b.wake()
	b.m.position.Set(float64(b.position))
	b.mu.Unlock()
	if time.Since(b.saved) >= b.o.KeepEvery {
		b.keep(ctx)
	}
	return nil
}

// bind puts the berth under the entry's plan.
func (b *Book) bind(ctx context.Context, e *batch.Entry) (*berth, error) {
	b.mu.Lock()
	at := b.berths[e.Berth]
	if at == nil {
		at = &berth{name: e.Berth}
		b.berths[e.Berth] = at
	}
	bound := at.under(e.Plan)
	b.mu.Unlock()
	if bound {
		return at, nil
	}
	plan, err := b.o.Plans.PlanByFingerprint(ctx, e.Berth, e.Plan)
	if err != nil {
		return nil, err
	}
	s, err := b.ship(ctx, plan.Ship.Name)
	if err != nil {
		return nil, err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	s = b.hold(s)
	at.ship = nil
	s.leave(func(name string) bool { other := b.berths[name]; return other == nil || other.ship != s })
	anew := len(at.spells) == 0 || at.spells[len(at.spells)-1].Ship != s.Name
	at.note(s, e)
	at.use(s, plan)
	if e.Position > s.Position { // else her records have been through this
		at.arrive(e.Position, anew)
		s.changed = true
	}
	return at, nil
}

// arrive has the berth's records begin a stay, or what is new among them.
func (b *berth) arrive(position uint64, anew bool) {
	for _, r := range b.lines {
		r.arrive(b.name, anew && !r.Away)
		b.ship.use(b.name, r, position)
	}
}

// note puts a spell among the berth's, unless it is the one it is in.
func (b *berth) note(s *ship, e *batch.Entry) {
	if n := len(b.spells); n > 0 && b.spells[n-1].Plan == e.Plan {
		return
	}
	b.spells = keepNewest(append(b.spells, spell{First: e.Position, Ship: s.Name, Plan: e.Plan}), spellsKept)
}

// use has the berth's readings go to the ship's records by a plan.
func (b *berth) use(s *ship, plan *mooring.Plan) {
	b.plan, b.ship, b.lines = plan, s, s.lines(plan)
	b.index = make(map[string]int, len(plan.Lines))
	for i := range plan.Lines {
		b.index[plan.Lines[i].ID] = i
		if r := b.lines[i]; len(r.Recent) == 0 {
			r.arrive(b.name, true)
		}
	}
	n := len(plan.Lines)
	b.tension, b.payout, b.brake = make([]*reading.Series, n), make([]*reading.Series, n), make([]*reading.Series, n)
}

// take puts a block's readings in the records.
func (b *berth) take(block *reading.Block) {
	clear(b.tension)
	clear(b.payout)
	clear(b.brake)
	for i := range block.Series {
		s := &block.Series[i]
		line, ok := b.index[s.Channel.Line]
		if !ok || s.Len() == 0 {
			continue
		}
		switch s.Channel.Kind {
		case reading.Tension:
			if first := b.tension[line]; first != nil { // this is a second column of the channel
				b.lines[line].tension(first)
			}
			b.tension[line] = s
		case reading.Payout:
			b.payout[line] = s
		case reading.Brake:
			b.brake[line] = s
		}
	}
	for i, r := range b.lines {
		if s := b.tension[i]; s != nil {
			r.tension(s)
		}
		if b.payout[i] != nil || b.brake[i] != nil {
			r.Winch.take(b.payout[i], b.brake[i], r.SlipM)
		}
	}
}

// shipAt is the ship that was at a berth at a journal position, "" where that is not
// known any more.
func (b *Book) shipAt(berth string, position uint64) string {
	name := ""
	if at := b.berths[berth]; at != nil {
		for _, s := range at.spells {
			if s.First <= position {
				name = s.Ship
			}
		}
	}
	return name
}
