package linebook

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"hawser/detect/mooring"
)

// ropesLog is the log of what people tell of ropes.
const ropesLog = "ropes"

// Kinds of what is told, with the numbers of the schema.
const (
	Fitted = iota + 1
	EndForEnded
)

// deed is what was done to a rope, when, and by whom.
type deed struct {
	Kind     int       `json:"kind"`
	Done     time.Time `json:"done"`
	Recorded time.Time `json:"recorded"`
	By       string    `json:"by"`
	Role     string    `json:"role,omitempty"`
	Note     string    `json:"note,omitempty"`
}

// ropeEvent is an entry of the log. It counts for readings at journal positions
// after At.
type ropeEvent struct {
	Form int `json:"form"`
	deed
	Ship  string `json:"ship"`
	Berth string `json:"berth"`
	Line  string `json:"line"`
	Rope  string `json:"rope,omitempty"`
	At    uint64 `json:"at"`

	position uint64 // in the log
}

// toldEvent is what a record keeps of one.
type toldEvent struct {
	deed
	UnderFor int64   `json:"under_for"`
	Cycles   float64 `json:"cycles"`
}

// Told is what somebody tells of a line's rope.
type Told struct {
	Kind        int
	Berth, Line string
	Rope        string
	Done        time.Time // zero for now
	By          string
	Role        string
	Note        string
}

// What RecordRope refuses; the errors of it that are not these are the log's.
var (
	ErrNoLine    = errors.New("no such line")
	ErrPlanSays  = errors.New("the plan states the line's rope")
	ErrInUse     = errors.New("the rope is another line")
	ErrNotYet    = errors.New("that is in the future")
	ErrNoReading = errors.New("no readings yet")
)

// RecordRope puts on record what was done to a line's rope.
func (b *Book) RecordRope(ctx context.Context, t Told) error {
	now := b.o.Now().UTC().Round(0)
	if t.Done.IsZero() {
		t.Done = now
	}
	if t.Done.After(now) {
		return fmt.Errorf("%w: %s", ErrNotYet, t.Done.Format(time.RFC3339))
	}
	e := &ropeEvent{Form: form, Berth: t.Berth, Line: t.Line, Rope: t.Rope,
		deed: deed{Kind: t.Kind, Done: t.Done.UTC().Round(0), Recorded: now, By: t.By, Role: t.Role, Note: t.Note}}
	done, err := b.tellAlone(ctx)
	if err != nil {
		return err
	}
	defer done()
	b.mu.Lock()
	err = b.allow(e)
	b.mu.Unlock()
	if err != nil {
		return err
	}
	data, err := json.Marshal(e)
	if err != nil {
		return err
	}
	if e.position, err = b.o.Records.AppendRecord(ctx, ropesLog, data); err != nil {
		return err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.ropes = e.position
	b.pending = append(b.pending, e)
	b.tellDue()
	return nil
}

// tellAlone waits until nobody else adds to the log of ropes or reads it.
func (b *Book) tellAlone(ctx context.Context) (done func(), err error) {
	select {
	case b.telling <- struct{}{}:
		return func() { <-b.telling }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// allow checks what is told against how things are, and says of which ship it is
// and from where on it counts.
func (b *Book) allow(e *ropeEvent) error {
	at := b.berths[e.Berth]
	if at == nil || at.plan == nil {
		return fmt.Errorf("berth %s: %w", e.Berth, ErrNoReading)
	}
	i, ok := at.index[e.Line]
	if !ok {
		return fmt.Errorf("berth %s: line %s: %w in the plan", e.Berth, e.Line, ErrNoLine)
	}
	e.Ship, e.At = at.ship.Name, b.position
	if e.Kind != Fitted {
		return nil
	}
	if rope := at.plan.Lines[i].Rope; rope != "" {
		return fmt.Errorf("berth %s: line %s: %w, %s: put the berth under a plan that states the new one", e.Berth, e.Line, ErrPlanSays, rope)
	}
	for j, r := range at.lines {
		if e.Rope != "" && r.Rope == e.Rope {
			return fmt.Errorf("berth %s: line %s: %w: %s is line %s", e.Berth, e.Line, ErrInUse, e.Rope, at.plan.Lines[j].ID)
		}
	}
	return nil
}

// readRopes reads the log of what was told.
func (b *Book) readRopes(ctx context.Context) error {
	done, err := b.tellAlone(ctx)
	if err != nil {
		return err
	}
	defer done()
	err = b.o.Records.ReadRecords(ctx, ropesLog, 0, func(position uint64, data []byte) error {
		e := &ropeEvent{}
		if err := json.Unmarshal(data, e); err != nil {
			b.o.Log.Error("what was told of a rope cannot be read and is left out", "record", position, "err", err)
			return nil
		}
		if e.Form != form {
			return fmt.Errorf("log of ropes: record %d is of form %d, this version knows %d", position, e.Form, form)
		}
		e.position = position
		b.mu.Lock()
		defer b.mu.Unlock()
		b.ropes = position
		b.pending = append(b.pending, e)
		return nil
	})
	if err != nil {
		return err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.tellDue()
	return nil
}

// told is the newest position of the log that has been looked at, as far as no
// event before it waits.
func (b *Book) told() uint64 {
	if len(b.pending) > 0 {
		return b.pending[0].position - 1
	}
	return b.ropes
}

// tellDue has what was told take effect that the fold has come to. A ship that is
// not in memory has it in her document: she was at a berth when it was told.
func (b *Book) tellDue() {
	for len(b.pending) > 0 && b.pending[0].At <= b.position {
		e := b.pending[0]
		b.pending = b.pending[1:]
		if s := b.ships[e.Ship]; s != nil && e.position > s.Ropes {
			b.tell(s, e)
		}
	}
}

// tell has an event take effect.
func (b *Book) tell(s *ship, e *ropeEvent) {
	s.changed = true
	at, i := b.berths[e.Berth], -1
	if at != nil && at.ship == s {
		if n, ok := at.index[e.Line]; ok {
			i = n
		}
	}
	var r *Record
	if i >= 0 {
		r = at.lines[i]
	} else if r = s.find(s.key(&mooring.Line{ID: e.Line})); r == nil {
		return
	}
	if e.Kind == Fitted {
		r = s.fit(r, e)
		if i >= 0 {
			at.lines[i] = r
			r.set(at.plan, i)
			r.arrive(at.name, len(r.Recent) == 0)
			s.use(at.name, r, e.At+1)
		}
	}
	r.Events = keepNewest(append(r.Events, toldEvent{e.deed, r.UnderFor, r.Cycles.Cycles(0)}), eventsKept)
}

// fit has a line's readings go to another rope's record from now on.
func (s *ship) fit(old *Record, e *ropeEvent) *Record {
	key := ropeKey(e.Rope)
	if e.Rope == "" {
		n := 1
		for s.find(lineKey(e.Line, n)) != nil {
			n++
		}
		key = lineKey(e.Line, n)
	}
	s.Fitted[e.Line] = key
	r := s.find(key)
	if r == nil {
		r = &Record{Key: key, Rope: e.Rope, Fitting: old.Fitting + 1,
			Line: old.Line, Group: old.Group, Material: old.Material, MBLkN: old.MBLkN, WLL: old.WLL, SlipM: old.SlipM}
		s.Records = append(s.Records, r)
	}
	old.At, r.At = "", old.At
	return r
}
