package tsdb

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/prometheus/prometheus/storage"

	"hawser/detect/reading"
	"hawser/ingest/store"
)

// maxChannels bounds what a writer remembers. Over it all is forgotten and learnt
// again from the database, berth by berth.
const maxChannels = 1 << 16

// writer appends readings. It remembers of every channel the series it has and
// the time up to which it may have readings, so that a reading after that needs no
// look-up, and one before it is looked up: a repeat is dropped, a late one kept.
// One goroutine at a time.
type writer struct {
	store    *Store
	berths   map[string]*berth
	channels int

	packed  []float64
	late    []sample
	refused *store.Refused // of the append under way, nil while there are none
}

type berth struct {
	name     string
	channels map[key]*channel
}

// key names a stream of numbers: the readings of a channel, or their quality.
type key struct {
	channel reading.Channel
	quality bool
}

type channel struct {
	key
	berth string
	// id orders channels.
	id    int
	forms []form
	// last is the newest time that may be stored or under way in any form, Unix ms.
	last int64
}

// never is before any time.
const never = -1 << 62

// sample is a late one: form is an index into the channel's.
type sample struct {
	channel *channel
	form    int
	time    int64 // Unix ms
	value   float64
}

// number is the sample's value as it was before packing.
func (s *sample) number() float64 { return s.value / scale(s.channel.forms[s.form].decimals) }

func newWriter(s *Store) *writer {
	w := &writer{store: s}
	w.forget()
	return w
}

// forget empties the memory, which is only a shadow of the database.
func (w *writer) forget() {
	w.berths, w.channels = make(map[string]*berth), 0
}

// append stores the entries and returns *store.Refused for what is not.
func (w *writer) append(ctx context.Context, entries []store.Entry) error {
	if w.channels > maxChannels {
		w.forget()
	}
	w.late, w.refused = w.late[:0], nil
	err := w.commit(ctx, func(a storage.AppenderV2) error {
		for _, e := range entries {
			if err := w.entry(ctx, a, e); err != nil {
				return err
			}
		}
		return nil
	})
	if err == nil && len(w.late) > 0 {
		err = w.appendLate(ctx)
	}
	if err != nil {
		// What was remembered of readings under way is not so.
		w.forget()
		return fmt.Errorf("store: %w", err)
	}
	if w.refused != nil {
		return w.refused
	}
	return nil
}

// commit runs add with an appender and commits, or rolls back.
func (w *writer) commit(ctx context.Context, add func(storage.AppenderV2) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	a := w.store.db.AppenderV2(ctx)
	if err := add(a); err != nil {
		return errors.Join(err, a.Rollback())
	}
	return a.Commit()
}

// entry appends what is in order of a block and sets the late aside.
func (w *writer) entry(ctx context.Context, a storage.AppenderV2, e store.Entry) error {
	b, err := w.berth(ctx, e.Berth)
	if err != nil {
		return err
	}
	newest := w.store.opts.Now().Add(w.store.opts.Ahead).UnixMilli()
	for i := range e.Block.Series {
		s := &e.Block.Series[i]
		if s.Len() == 0 {
			continue
		}
		if b == nil || store.CheckChannel(s.Channel) != nil {
			w.refuse(store.Unnamed, s.Len(), e.Berth, s.Channel, s.Time[0])
			continue
		}
		if err := w.series(a, b, s, newest); err != nil {
			return fmt.Errorf("berth %s: %s: %w", b.name, s.Channel, err)
		}
	}
	return nil
}

// series appends one series of a block: numbers to the channel, quality codes of
// the readings that are not good to the series beside it.
func (w *writer) series(a storage.AppenderV2, b *berth, s *reading.Series, newest int64) error {
	numbers := w.channel(b, key{channel: s.Channel})
	f := w.form(b, numbers, s)
	var quality *channel
	for i, t := range s.Time {
		ms := floorMillis(t)
		if ms > newest {
			w.refuse(store.TooNew, 1, b.name, s.Channel, t)
			continue
		}
		bad := isBad(s, i)
		if !bad {
			if err := w.one(a, numbers, f, ms, w.packed[i]); err != nil {
				return err
			}
		}
		code := s.QualityAt(i)
		if bad {
			code = reading.Bad
		}
		if code == reading.Good {
			continue
		}
		if quality == nil {
			quality = w.qualityOf(b, s.Channel)
		}
		if err := w.one(a, quality, 0, ms, float64(code)); err != nil {
			return err
		}
	}
	return nil
}

// form packs the series' values and gives the form they are in.
func (w *writer) form(b *berth, c *channel, s *reading.Series) int {
	decimals := s.Decimals
	if decimals < 0 || decimals > maxDecimals {
		decimals = anyDecimals
	}
	for {
		f := chooseForm(c.forms, decimals)
		if f < 0 {
			f = w.addForm(b, c, decimals)
		}
		var ok bool
		if w.packed, ok = pack(w.packed[:0], s, c.forms[f].decimals); ok {
			return f
		}
		// The block's word on its decimals does not hold, or the numbers are too large
		// to be whole at the form's: as they are, then.
		decimals = anyDecimals
	}
}

// one appends a packed value if it is newer than all of its channel, else sets it
// aside.
func (w *writer) one(a storage.AppenderV2, c *channel, f int, ms int64, v float64) error {
	if ms <= c.last {
		w.late = append(w.late, sample{channel: c, form: f, time: ms, value: v})
		return nil
	}
	taken, err := w.put(a, c, f, ms, v)
	if taken {
		c.last = ms
	}
	return err
}

// put gives one value to the database. Too old is counted and no error.
func (w *writer) put(a storage.AppenderV2, c *channel, f int, ms int64, v float64) (taken bool, err error) {
	form := &c.forms[f]
	ref, err := a.Append(form.ref, form.labels, 0, ms, v, nil, nil, storage.AOptions{})
	if err == nil {
		form.ref = ref
		return true, nil
	}
	if errors.Is(err, storage.ErrTooOldSample) || errors.Is(err, storage.ErrOutOfBounds) {
		w.refuse(store.TooOld, 1, c.berth, c.key.channel, ms*int64(time.Millisecond))
		return false, nil
	}
	return false, err
}

func (w *writer) refuse(reason store.Reason, n int, berth string, c reading.Channel, t int64) {
	if w.refused == nil {
		w.refused = &store.Refused{}
	}
	w.refused.Add(reason, n, berth, c, t)
}

// floorMillis cuts Unix nanoseconds to milliseconds, downwards before 1970 too.
func floorMillis(ns int64) int64 {
	ms := ns / int64(time.Millisecond)
	if ns%int64(time.Millisecond) < 0 {
		ms--
	}
	return ms
}
