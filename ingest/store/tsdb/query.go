package tsdb

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/prometheus/prometheus/model/labels"
	"github.com/prometheus/prometheus/storage"
	"github.com/prometheus/prometheus/tsdb/chunkenc"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/ingest/store/roll"
)

// Query reads a span; see store.Store. Readings are at whole milliseconds.
func (s *Store) Query(ctx context.Context, q store.Query) ([]store.Result, error) {
	s.lifetime.RLock()
	defer s.lifetime.RUnlock()
	if s.closed {
		return nil, store.ErrClosed
	}
	q.ChooseStep(s.leastStep(q.From))
	from, to, limit, err := q.Normalise()
	if err != nil {
		return nil, fmt.Errorf("store: %w", err)
	}
	var results []store.Result
	if res, ok := roll.Coarsest(q.Step); ok && !q.Quality {
		results, err = s.queryRolls(ctx, &q, res, span{from, to}, limit)
	} else {
		r := newReader(ctx, q.Step, limit)
		if err = r.read(s.db.Querier, span{from, to}, matchers(&q)); err == nil {
			results = r.results()
		}
	}
	if err != nil {
		return nil, fmt.Errorf("store: query %s of berth %s: %w", q.Channel, q.Berth, err)
	}
	return results, nil
}

// span is a stretch of time, Unix nanoseconds, without its end.
type span struct{ from, to int64 }

// millis are the first and the last whole millisecond of a span.
func (s span) millis() (lo, hi int64) { return floorMillis(s.from-1) + 1, floorMillis(s.to - 1) }

// reader gathers the answer to one query.
type reader struct {
	ctx      context.Context // of the one query it lives for
	step     int64           // ms, 0 for readings as they are
	left     int             // points that may still be added
	channels map[reading.Channel]*columns
	it       chunkenc.Iterator
}

func newReader(ctx context.Context, step time.Duration, limit int) *reader {
	return &reader{ctx: ctx, step: step.Milliseconds(), left: limit, channels: make(map[reading.Channel]*columns)}
}

// read reads a span, which comes after those read before.
func (r *reader) read(open func(lo, hi int64) (storage.Querier, error), in span, ms []*labels.Matcher) error {
	q, err := open(in.millis())
	if err != nil {
		return err
	}
	defer q.Close()
	set := q.Select(r.ctx, false, nil, ms...)
	for set.Next() {
		s := set.At()
		k, decimals, ok := readLabels(s.Labels())
		if !ok {
			continue
		}
		c, ok := r.channels[k.channel]
		if !ok {
			c = &columns{}
			r.channels[k.channel] = c
		}
		if err := r.series(s, c, decimals); err != nil {
			return err
		}
	}
	return set.Err()
}

// series adds one series to its channel's columns.
func (r *reader) series(s storage.Series, c *columns, decimals int8) error {
	r.it = s.Iterator(r.it)
	c.begin(r.step, decimals)
	for n := 1; r.it.Next() != chunkenc.ValNone; n++ {
		if n%4096 == 0 && r.ctx.Err() != nil {
			return r.ctx.Err()
		}
		t, v := r.it.At()
		if !c.add(t, v) {
			continue
		}
		if r.left--; r.left < 0 {
			return store.ErrTooManyPoints
		}
	}
	return r.it.Err()
}

func (r *reader) results() []store.Result {
	out := make([]store.Result, 0, len(r.channels))
	for channel, c := range r.channels {
		if !c.empty() {
			out = append(out, c.result(channel))
		}
	}
	slices.SortFunc(out, byChannel)
	return out
}

func byChannel(a, b store.Result) int { return strings.Compare(a.Channel.String(), b.Channel.String()) }
