package tsdb

import (
	"cmp"
	"context"
	"encoding/binary"
	"slices"
	"time"

	"github.com/prometheus/common/model"
	"github.com/prometheus/prometheus/model/histogram"
	"github.com/prometheus/prometheus/model/labels"
	"github.com/prometheus/prometheus/storage"
	"github.com/prometheus/prometheus/tsdb/chunkenc"
	bolt "go.etcd.io/bbolt"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/ingest/store/roll"
)

// place is a berth's channel.
type place struct {
	berth   string
	channel reading.Channel
}

// rolls finds the series of rolls: of channels that have some, or readings.
func (s *selection) rolls(metrics []Metric) error {
	places := make(map[place]bool)
	db := s.querier.store
	s.lo, s.hi = max(s.lo, 0), min(s.hi, db.newestTime()+1)
	err := roll.Soundly(func() error {
		return db.rolls.View(func(tx *bolt.Tx) error {
			return eachPlace(s.ctx, tx, s.lo, s.hi, func(p place) { places[p] = true })
		})
	})
	if err != nil {
		return err
	}
	set := s.querier.q.Select(s.ctx, false, &storage.SelectHints{Start: s.lo, End: s.hi, Func: "series"},
		labels.MustNewMatcher(labels.MatchEqual, model.MetricNameLabel, nameReading))
	for set.Next() {
		l := set.At().Labels()
		if k, _, ok := readLabels(l); ok {
			places[place{l.Get(labelBerth), k.channel}] = true
		}
	}
	for p := range places {
		for _, metric := range metrics {
			if metric.kind != p.channel.Kind {
				continue
			}
			if l, since, ok := s.labelled(metric.Name, p.berth, p.channel); ok {
				s.found = append(s.found, &storage.SeriesEntry{Lset: l, SampleIteratorFn: func(chunkenc.Iterator) chunkenc.Iterator {
					return &rollSamples{ctx: s.ctx, store: db, of: p, metric: metric, since: since, from: s.lo, to: s.hi}
				}})
			}
		}
	}
	return set.Err()
}

// eachPlace gives the channels that have rolls of ten minutes in pages that meet a
// span.
func eachPlace(ctx context.Context, tx *bolt.Tx, lo, hi int64, each func(place)) error {
	length := pageSpan(roll.TenMinutes)
	var key [8]byte
	from := roll.Floor(lo*int64(time.Millisecond), length)
	binary.BigEndian.PutUint64(key[:], uint64(from))
	seen, n := make(map[string]bool), 0
	c := tx.Bucket(bucketOf(roll.TenMinutes)).Cursor()
	for k, _ := c.Seek(key[:]); len(k) > 8 && int64(binary.BigEndian.Uint64(k)) <= hi*int64(time.Millisecond); k, _ = c.Next() {
		if n++; n%4096 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		if seen[string(k[8:])] {
			continue
		}
		seen[string(k[8:])] = true
		if _, berth, channel, ok := readKey(k); ok {
			each(place{berth, channel})
		}
	}
	return nil
}

// rollsAtOnce is how many rolls are read at once.
const rollsAtOnce = 1000

// rollSamples is the samples of a channel's rolls, each at the end of its span, read
// some at a time.
type rollSamples struct {
	ctx      context.Context // of the one query it lives for
	store    *Store
	of       place
	metric   Metric
	from, to int64 // Unix ms, of samples still to be read
	since    int64 // no span may begin before

	buf  []sampled
	next int // in buf
	err  error
}

type sampled struct {
	time  int64
	value float64
}

func (r *rollSamples) Next() chunkenc.ValueType {
	r.next++
	for r.next > len(r.buf) {
		if r.err != nil || r.from > r.to {
			return chunkenc.ValNone
		}
		r.read()
	}
	return chunkenc.ValFloat
}

// read reads on from r.from.
func (r *rollSamples) read() {
	step := r.metric.res.Step().Milliseconds()
	// A sample at t is of the span [t-step, t).
	first := max(roll.Floor(r.from+step-1, step), step)
	last := min(first+(rollsAtOnce-1)*step, roll.Floor(r.to, step))
	r.buf, r.next, r.from = r.buf[:0], 1, last+1
	if last < first {
		r.from, r.next = r.to+1, 1
		return
	}
	q := store.Query{Berth: r.of.berth, Channel: r.of.channel, Step: r.metric.res.Step()}
	in := span{(first - step) * int64(time.Millisecond), last * int64(time.Millisecond)}
	newest := r.store.newestTime()
	r.err = r.store.eachRolls(r.ctx, &q, r.metric.res, in, func(_ reading.Channel, points []roll.Roll) error {
		for i := range points {
			start := points[i].Time / int64(time.Millisecond)
			if end := start + step; start >= r.since && end <= newest+1 { // a span is told when it is over
				r.buf = append(r.buf, sampled{end, r.metric.figure(&points[i]) * r.metric.factor})
			}
		}
		return nil
	})
}

func (r *rollSamples) Seek(t unixMillis) chunkenc.ValueType {
	if r.next > 0 && r.next <= len(r.buf) && r.buf[r.next-1].time >= t {
		return chunkenc.ValFloat
	}
	if i, _ := slices.BinarySearchFunc(r.buf, t, func(s sampled, t int64) int { return cmp.Compare(s.time, t) }); i < len(r.buf) {
		r.next = max(r.next, i+1)
		return chunkenc.ValFloat
	}
	r.buf, r.next, r.from = r.buf[:0], 0, max(r.from, t)
	return r.Next()
}

func (r *rollSamples) At() (int64, float64) { s := r.buf[r.next-1]; return s.time, s.value }
func (r *rollSamples) AtT() int64           { return r.buf[r.next-1].time }
func (r *rollSamples) AtST() int64          { return 0 }
func (r *rollSamples) Err() error           { return r.err }

func (r *rollSamples) AtHistogram(*histogram.Histogram) (int64, *histogram.Histogram) {
	panic("tsdb: no series has histograms")
}

func (r *rollSamples) AtFloatHistogram(*histogram.FloatHistogram) (int64, *histogram.FloatHistogram) {
	panic("tsdb: no series has histograms")
}
