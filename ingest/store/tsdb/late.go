package tsdb

import (
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/prometheus/prometheus/storage"
	"github.com/prometheus/prometheus/tsdb/chunkenc"

	"hawser/ingest/store"
)

// lateSpan is how far apart, in ms, late readings of a channel may be to be looked
// up in one read of the database.
const lateSpan = int64(time.Minute / time.Millisecond)

// appendLate stores the readings set aside, without the repeats and the conflicts,
// those of one time in the order in which they came. What is in order is committed by now, so the database knows
// all that came before.
func (w *writer) appendLate(ctx context.Context) error {
	slices.SortStableFunc(w.late, func(a, b sample) int {
		return cmp.Or(cmp.Compare(a.channel.id, b.channel.id), cmp.Compare(a.time, b.time))
	})
	oldest, newest := w.late[0].time, w.late[0].time
	for i := range w.late {
		oldest, newest = min(oldest, w.late[i].time), max(newest, w.late[i].time)
	}
	q, err := w.store.db.Querier(oldest, newest)
	if err != nil {
		return err
	}
	defer q.Close()
	return w.commit(ctx, func(a storage.AppenderV2) error {
		for rest := w.late; len(rest) > 0; {
			n := runLength(rest)
			if err := w.appendRun(ctx, a, q, rest[:n]); err != nil {
				return err
			}
			rest = rest[n:]
		}
		return nil
	})
}

// again counts a reading for whose time there is one already.
func (w *writer) again(s *sample, stored float64) {
	if s.number() == stored {
		w.store.metrics.repeated.Inc()
		return
	}
	w.refuse(store.Conflict, 1, s.channel.berth, s.channel.key.channel, s.time*int64(time.Millisecond))
}

// runLength is the number of readings from the start that are of one channel and
// close together.
func runLength(late []sample) int {
	for i := 1; i < len(late); i++ {
		if late[i].channel != late[0].channel || late[i].time-late[i-1].time > lateSpan {
			return i
		}
	}
	return len(late)
}

// appendRun stores those of a run that are not there yet, nor were in the run before.
func (w *writer) appendRun(ctx context.Context, a storage.AppenderV2, q storage.Querier, run []sample) error {
	there, err := w.stored(ctx, q, run[0].channel, run[0].time, run[len(run)-1].time)
	if err != nil {
		return err
	}
	for i := range run {
		s := &run[i]
		if v, ok := there[s.time]; ok {
			w.again(s, v)
			continue
		}
		taken, err := w.put(a, s.channel, s.form, s.time, s.value)
		if err != nil {
			return err
		}
		if taken {
			there[s.time] = s.number()
			w.store.metrics.late.Inc()
		}
	}
	return nil
}

// stored reads what a channel has in [lo, hi], in any of its forms.
func (w *writer) stored(ctx context.Context, q storage.Querier, c *channel, lo, hi int64) (map[int64]float64, error) {
	there := make(map[int64]float64)
	ask := &store.Query{Berth: c.berth, Channel: c.key.channel, Quality: c.quality}
	set := q.Select(ctx, false, &storage.SelectHints{Start: lo, End: hi}, matchers(ask)...)
	var it chunkenc.Iterator
	for set.Next() {
		s := set.At()
		_, decimals, ok := readLabels(s.Labels())
		if !ok {
			continue
		}
		it = s.Iterator(it)
		for it.Next() != chunkenc.ValNone {
			t, n := it.At()
			there[t] = n / scale(decimals)
		}
		if err := it.Err(); err != nil {
			return nil, err
		}
	}
	return there, set.Err()
}
