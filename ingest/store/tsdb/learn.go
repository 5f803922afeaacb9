package tsdb

import (
	"context"
	"math"
	"time"

	"github.com/prometheus/common/model"
	"github.com/prometheus/prometheus/model/labels"
	"github.com/prometheus/prometheus/storage"
	"github.com/prometheus/prometheus/tsdb/chunkenc"

	"hawser/detect/reading"
	"hawser/ingest/store"
)

// berth is what is known of a berth, learnt from the database the first time. It
// is nil for a name that cannot be stored.
func (w *writer) berth(ctx context.Context, name string) (*berth, error) {
	if b, ok := w.berths[name]; ok {
		return b, nil
	}
	if store.CheckName(name) != nil {
		return nil, nil
	}
	b := &berth{name: name, channels: make(map[key]*channel)}
	if err := w.learn(ctx, b); err != nil {
		return nil, err
	}
	w.berths[name] = b
	return b, nil
}

func (w *writer) channel(b *berth, k key) *channel {
	c, ok := b.channels[k]
	if !ok {
		w.channels++
		c = &channel{key: k, berth: b.name, id: w.channels, last: never}
		b.channels[k] = c
	}
	return c
}

func (w *writer) qualityOf(b *berth, of reading.Channel) *channel {
	c := w.channel(b, key{channel: of, quality: true})
	if len(c.forms) == 0 {
		w.addForm(b, c, 0)
	}
	return c
}

func (w *writer) addForm(b *berth, c *channel, decimals int8) int {
	name := nameReading
	if c.quality {
		name = nameQuality
	}
	c.forms = append(c.forms, form{
		decimals: decimals, labels: seriesLabels(name, b.name, c.key.channel, decimals),
	})
	return len(c.forms) - 1
}

// learn finds the berth's series and how far each channel goes. The ends are
// looked for backwards in spans that double: a channel in use costs a read of
// minutes, one out of use for long no more than the time it is out of use.
func (w *writer) learn(ctx context.Context, b *berth) error {
	oldest, hi := w.store.oldestTime(), w.store.newestTime()
	if oldest > hi {
		return nil // nothing stored yet
	}
	unended := 0
	err := w.eachSeries(ctx, b, oldest, hi, func(c *channel, _ storage.Series) error {
		if c.last == never {
			// Until its end is found, anything may be there.
			c.last = math.MaxInt64
			unended++
		}
		return nil
	})
	if err != nil {
		return err
	}
	ended := make(map[*channel]int64, unended)
	for span := 5 * time.Minute.Milliseconds(); len(ended) < unended && hi >= oldest; span *= 2 {
		if err := w.ends(ctx, b, hi-span+1, hi, ended); err != nil {
			return err
		}
		hi -= span
	}
	for _, c := range b.channels {
		c.last = never
		if last, ok := ended[c]; ok {
			c.last = last
		}
	}
	return nil
}

// ends notes the last time in [lo, hi] of each channel that has none noted.
func (w *writer) ends(ctx context.Context, b *berth, lo, hi int64, ended map[*channel]int64) error {
	found := make(map[*channel]int64)
	var it chunkenc.Iterator
	err := w.eachSeries(ctx, b, lo, hi, func(c *channel, s storage.Series) error {
		if _, ok := ended[c]; ok {
			return nil
		}
		it = s.Iterator(it)
		for it.Next() != chunkenc.ValNone {
			if t := it.AtT(); t > found[c] || found[c] == 0 {
				found[c] = t
			}
		}
		return it.Err()
	})
	for c, t := range found {
		ended[c] = t
	}
	return err
}

// eachSeries gives every series of the berth with readings in [lo, hi], and adds
// channels and forms not known yet.
func (w *writer) eachSeries(ctx context.Context, b *berth, lo, hi int64, each func(*channel, storage.Series) error) error {
	q, err := w.store.db.Querier(lo, hi)
	if err != nil {
		return err
	}
	defer q.Close()
	set := q.Select(ctx, false, nil, labels.MustNewMatcher(labels.MatchEqual, labelBerth, b.name))
	for set.Next() {
		s := set.At()
		k, decimals, ok := readLabels(s.Labels())
		if !ok {
			continue
		}
		c := w.channel(b, k)
		if findForm(c.forms, decimals) < 0 {
			w.addForm(b, c, decimals)
		}
		if err := each(c, s); err != nil {
			return err
		}
	}
	return set.Err()
}

func findForm(forms []form, decimals int8) int {
	for i := range forms {
		if forms[i].decimals == decimals {
			return i
		}
	}
	return -1
}

// newestTime is the time of the newest reading, Unix ms, MinInt64 for none.
func (s *Store) newestTime() int64 {
	head := s.db.Head()
	newest := head.MaxTime()
	if t := head.MaxOOOTime(); t != math.MinInt64 {
		newest = max(newest, t)
	}
	for _, b := range s.db.Blocks() {
		newest = max(newest, b.MaxTime())
	}
	return newest
}

// oldestTime is the time of the oldest reading, Unix ms, MaxInt64 for none.
func (s *Store) oldestTime() int64 {
	head := s.db.Head()
	oldest := min(head.MinTime(), head.MinOOOTime())
	for _, b := range s.db.Blocks() {
		oldest = min(oldest, b.MinTime())
	}
	return oldest
}

// matchers pick the series of a query.
func matchers(q *store.Query) []*labels.Matcher {
	equal := func(name, value string) *labels.Matcher {
		return labels.MustNewMatcher(labels.MatchEqual, name, value)
	}
	name := nameReading
	if q.Quality {
		name = nameQuality
	}
	ms := []*labels.Matcher{equal(model.MetricNameLabel, name), equal(labelBerth, q.Berth)}
	if q.Channel.Kind != reading.Unknown {
		ms = append(ms, equal(labelKind, q.Channel.Kind.String()))
	}
	if q.Channel.Line != "" {
		ms = append(ms, equal(labelLine, q.Channel.Line))
	}
	return ms
}
