package tsdb

import (
	"bytes"
	"cmp"
	"context"
	"math"
	"slices"
	"time"

	bolt "go.etcd.io/bbolt"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/ingest/store/roll"
)

// LeastStep is the finest step that there is of a time: 0 while its readings are
// kept.
func (s *Store) LeastStep(from time.Time) time.Duration {
	s.lifetime.RLock()
	defer s.lifetime.RUnlock()
	if s.closed {
		return 0
	}
	return s.leastStep(from)
}

// leastStep is the finest step that there is of a time: 0 while its readings are
// kept.
func (s *Store) leastStep(from time.Time) time.Duration {
	newest := s.newestTime()
	if newest == math.MinInt64 {
		return 0
	}
	ago := time.UnixMilli(newest).Sub(from)
	if ago <= s.opts.Retention {
		return 0
	}
	r, ok := s.opts.Rolls.Kept(ago)
	if !ok {
		r = roll.TenMinutes
	}
	return r.Step()
}

// rollQuery is a query answered from rolls, and from readings where those wait to be
// rolled up.
type rollQuery struct {
	store *Store
	ask   *store.Query
	res   roll.Resolution
	in    span
	fresh *reader // of the spans that wait; nil where none does
	tx    *bolt.Tx
	buf   []roll.Roll
	pack  roll.Unpacker
	key   []byte
}

// queryRolls answers from rolls of a resolution that makes up the step.
func (s *Store) queryRolls(ctx context.Context, q *store.Query, res roll.Resolution, in span, limit int) (results []store.Result, err error) {
	err = s.eachRolls(ctx, q, res, in, func(c reading.Channel, points []roll.Roll) error {
		if limit -= len(points); limit < 0 {
			return store.ErrTooManyPoints
		}
		result := store.Result{Channel: c, Step: q.Step}
		appendRolls(&result, points)
		results = append(results, result)
		return nil
	})
	if err != nil {
		return nil, err
	}
	slices.SortFunc(results, byChannel)
	return results, nil
}

// eachRolls gives each channel's points, good for the call only, in no order of
// channels.
func (s *Store) eachRolls(ctx context.Context, q *store.Query, res roll.Resolution, in span, each func(reading.Channel, []roll.Roll) error) error {
	r := rollQuery{store: s, ask: q, res: res, in: in}
	// The list first: a span that is rolled up now is still read from its readings.
	for _, wait := range s.pending.Ranges(q.Berth, in.from, in.to) {
		if r.fresh == nil {
			r.fresh = newReader(ctx, res.Step(), math.MaxInt)
		}
		part := span{max(wait[0], in.from), min(wait[1], in.to)}
		if err := r.fresh.read(s.db.Querier, part, matchers(q)); err != nil {
			return err
		}
	}
	return roll.Soundly(func() error {
		return s.rolls.View(func(tx *bolt.Tx) error {
			r.tx = tx
			for _, c := range r.channels() {
				if err := ctx.Err(); err != nil {
					return err
				}
				if points := r.rollsOf(c); len(points) > 0 {
					if err := each(c, points); err != nil {
						return err
					}
				}
			}
			return nil
		})
	})
}

// channels are those that the answer may have, in no order.
func (r *rollQuery) channels() []reading.Channel {
	asked := r.ask.Channel
	if asked.Line != "" || asked.Kind != reading.Unknown && !asked.Kind.OfLine() {
		return []reading.Channel{asked}
	}
	found := make(map[reading.Channel]bool)
	note := func(c reading.Channel) {
		if asked.Kind == reading.Unknown || asked.Kind == c.Kind {
			found[c] = true
		}
	}
	if r.fresh != nil {
		for c := range r.fresh.channels {
			note(c)
		}
	}
	names := make(map[string]bool)
	cursor := r.tx.Bucket(bucketOf(r.res)).Cursor()
	r.pages(func(start int64) {
		r.key = appendPageKey(r.key[:0], start, r.ask.Berth, "")
		prefix := r.key
		for k, _ := cursor.Seek(prefix); bytes.HasPrefix(k, prefix); k, _ = cursor.Next() {
			if name := k[len(prefix):]; !names[string(name)] {
				names[string(name)] = true
				if _, _, c, ok := readKey(k); ok {
					note(c)
				}
			}
		}
	})
	out := make([]reading.Channel, 0, len(found))
	for c := range found {
		out = append(out, c)
	}
	return out
}

// pages gives the start of each page that meets the span asked for and that may be
// there.
func (r *rollQuery) pages(each func(start int64)) {
	length := pageSpan(r.res)
	first, last := roll.Floor(r.in.from, length), r.in.to
	k, _ := r.tx.Bucket(bucketOf(r.res)).Cursor().First()
	if start, _, _, ok := readKey(k); ok {
		first = max(first, start)
	}
	k, _ = r.tx.Bucket(bucketOf(r.res)).Cursor().Last()
	if start, _, _, ok := readKey(k); ok {
		last = min(last, start+length)
	} else {
		return // there is none
	}
	for start := first; start < last; start += length {
		each(start)
	}
}

// rollsOf is a channel's points, good until the next call.
func (r *rollQuery) rollsOf(c reading.Channel) []roll.Roll {
	r.buf = r.buf[:0]
	bucket, name := r.tx.Bucket(bucketOf(r.res)), c.String()
	r.pages(func(start int64) {
		r.key = appendPageKey(r.key[:0], start, r.ask.Berth, name)
		page := bucket.Get(r.key)
		if page == nil {
			return
		}
		before := len(r.buf)
		var err error
		if r.buf, err = r.pack.Append(r.buf, page, start, int64(r.res.Step())); err != nil {
			r.store.damagedPage(r.res, start, r.ask.Berth, name, err)
			return
		}
		if start < r.in.from || start+pageSpan(r.res) > r.in.to {
			outside := func(p roll.Roll) bool { return p.Time < r.in.from || p.Time >= r.in.to }
			r.buf = r.buf[:before+len(slices.DeleteFunc(r.buf[before:], outside))]
		}
	})
	if r.fresh != nil {
		if fresh, ok := r.fresh.channels[c]; ok {
			r.join(fresh)
		}
	}
	return roll.Reduce(r.buf, int64(r.ask.Step))
}

// join takes in what was reckoned just now. Of two rolls for one time the one of
// more readings is the newer.
func (r *rollQuery) join(fresh *columns) {
	fresh.joinSeries()
	r.buf = append(r.buf, fresh.points...)
	slices.SortFunc(r.buf, func(a, b roll.Roll) int {
		return cmp.Or(cmp.Compare(a.Time, b.Time), cmp.Compare(b.Count, a.Count))
	})
	r.buf = slices.CompactFunc(r.buf, func(a, b roll.Roll) bool { return a.Time == b.Time })
}
