package tsdb

import (
	"cmp"
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/prometheus/common/model"
	"github.com/prometheus/prometheus/model/labels"
	bolt "go.etcd.io/bbolt"

	"hawser/ingest/store"
	"hawser/ingest/store/roll"
)

// stretch is spans of a berth that follow each other, reckoned with one read.
type stretch struct {
	berth string
	span
}

// mostSpans is the most spans of a stretch: the rolls of an hour of seconds are in
// memory at once.
const mostSpans = 6

// stretches joins places, ordered by berth and time.
func stretches(places []roll.Place) (out []stretch) {
	for _, p := range places {
		if n := len(out); n > 0 && out[n-1].berth == p.Berth && out[n-1].to == p.Start && p.End()-out[n-1].from <= mostSpans*int64(roll.Span) {
			out[n-1].to = p.End()
			continue
		}
		out = append(out, stretch{p.Berth, span{p.Start, p.End()}})
	}
	return out
}

// reckoned is the rolls of a channel in a stretch. Pages of one span are packed
// already; rolls of minutes and more go into larger ones.
type reckoned struct {
	of      stretch
	channel string
	pages   []packed
	larger  [2][]roll.Roll // of roll.Minute and roll.TenMinutes
}

type packed struct {
	res   roll.Resolution
	start int64
	page  []byte
}

var _ roll.Keeper = (*Store)(nil)

// Reckon reckons spans from their readings and writes their rolls; see roll.Keeper.
func (s *Store) Reckon(ctx context.Context, places []roll.Place) error {
	s.lifetime.RLock()
	defer s.lifetime.RUnlock()
	if s.closed {
		return store.ErrClosed
	}
	k := reckoner{store: s, reader: newReader(ctx, roll.Second.Step(), math.MaxInt)}
	var all []reckoned
	for _, of := range stretches(places) {
		some, err := k.reckon(of)
		if err != nil {
			return fmt.Errorf("store: roll up berth %s from %s: %w", of.berth, time.Unix(0, of.from).UTC().Format(time.RFC3339), err)
		}
		all = append(all, some...)
	}
	if err := s.writeRolls(all); err != nil {
		return fmt.Errorf("store: write rolls: %w", err)
	}
	s.metrics.rolled.Add(float64(len(places)))
	return s.dropRolls()
}

// reckoner reckons stretches one after the other, in memory that is used again.
type reckoner struct {
	store  *Store
	reader *reader
	pack   roll.Packer
}

// reckon reads the readings of a stretch.
func (k *reckoner) reckon(of stretch) ([]reckoned, error) {
	for _, c := range k.reader.channels {
		c.points, c.series = c.points[:0], 0
	}
	if err := k.reader.read(k.store.db.Querier, of.span, matchers(&store.Query{Berth: of.berth})); err != nil {
		return nil, err
	}
	out := make([]reckoned, 0, len(k.reader.channels))
	for channel, c := range k.reader.channels {
		c.joinSeries()
		if len(c.points) > 0 {
			out = append(out, k.reduce(of, channel.String(), c.points))
		}
	}
	return out, nil
}

// reduce makes all rolls of a stretch from those of seconds, in place.
func (k *reckoner) reduce(of stretch, channel string, rolls []roll.Roll) reckoned {
	out := reckoned{of: of, channel: channel}
	for _, res := range []roll.Resolution{roll.Second, roll.TenSeconds} {
		rolls = roll.Reduce(rolls, int64(res.Step()))
		for rest := rolls; len(rest) > 0; {
			start := roll.Floor(rest[0].Time, int64(roll.Span))
			n, _ := slices.BinarySearchFunc(rest, start+int64(roll.Span), byTime)
			out.pages = append(out.pages, packed{res, start, k.pack.Page(rest[:n], start, int64(res.Step()))})
			rest = rest[n:]
		}
	}
	for i := range out.larger {
		rolls = roll.Reduce(rolls, int64((roll.Minute + roll.Resolution(i)).Step()))
		out.larger[i] = slices.Clone(rolls)
	}
	return out
}

// writeRolls writes what was reckoned in one transaction. Spans of which more
// readings were known when they were reckoned before stay as they are.
func (s *Store) writeRolls(all []reckoned) error {
	slices.SortFunc(all, func(a, b reckoned) int {
		return cmp.Or(cmp.Compare(a.of.from, b.of.from), cmp.Compare(a.of.berth, b.of.berth), cmp.Compare(a.channel, b.channel))
	})
	w := rollWriter{store: s}
	return roll.Soundly(func() error {
		return s.rolls.Update(func(tx *bolt.Tx) error {
			w.tx = tx
			for i := range all {
				if err := w.write(&all[i]); err != nil {
					return err
				}
			}
			return nil
		})
	})
}

// rollWriter writes rolls in a transaction.
type rollWriter struct {
	store  *Store
	tx     *bolt.Tx
	unpack roll.Unpacker
	pack   roll.Packer
	page   []roll.Roll
}

func (w *rollWriter) write(r *reckoned) error {
	keep := w.fuller(r)
	for _, p := range r.pages {
		if keep[p.start] {
			continue
		}
		if err := put(w.tx, p.res, appendPageKey(nil, p.start, r.of.berth, r.channel), p.page); err != nil {
			return err
		}
	}
	for i, rolls := range r.larger {
		if len(keep) > 0 {
			rolls = slices.DeleteFunc(rolls, func(p roll.Roll) bool { return keep[roll.Floor(p.Time, int64(roll.Span))] })
		}
		if err := w.merge(r, roll.Minute+roll.Resolution(i), rolls); err != nil {
			return err
		}
	}
	return nil
}

// fuller are the spans of which the rolls that are kept have more readings than
// what was reckoned now: some of those have gone since.
func (w *rollWriter) fuller(r *reckoned) (spans map[int64]bool) {
	tens := r.larger[1]
	for start := roll.Floor(r.of.from, pageSpan(roll.TenMinutes)); start < r.of.to; start += pageSpan(roll.TenMinutes) {
		w.read(r, roll.TenMinutes, start)
		for i := range tens {
			at, ok := slices.BinarySearchFunc(w.page, tens[i].Time, byTime)
			if ok && w.page[at].Count > tens[i].Count {
				if spans == nil {
					spans = make(map[int64]bool)
				}
				spans[tens[i].Time] = true
				w.store.metrics.kept.Inc()
			}
		}
	}
	return spans
}

// merge puts rolls into the pages of their resolution, which have others too.
func (w *rollWriter) merge(r *reckoned, res roll.Resolution, rolls []roll.Roll) error {
	length := pageSpan(res)
	for len(rolls) > 0 {
		start := roll.Floor(rolls[0].Time, length)
		n, _ := slices.BinarySearchFunc(rolls, start+length, byTime)
		w.read(r, res, start)
		w.page = append(w.page, rolls[:n]...)
		// Of two for one time the one from now is the later in the page.
		slices.SortStableFunc(w.page, func(a, b roll.Roll) int { return cmp.Compare(a.Time, b.Time) })
		kept := w.page[:0]
		for _, p := range w.page {
			if n := len(kept); n > 0 && kept[n-1].Time == p.Time {
				kept[n-1] = p
				continue
			}
			kept = append(kept, p)
		}
		page := w.pack.Page(kept, start, int64(res.Step()))
		if err := put(w.tx, res, appendPageKey(nil, start, r.of.berth, r.channel), page); err != nil {
			return err
		}
		rolls = rolls[n:]
	}
	return nil
}

// read reads a page. One that is damaged is as good as empty.
func (w *rollWriter) read(r *reckoned, res roll.Resolution, start int64) {
	w.page = w.page[:0]
	page := w.tx.Bucket(bucketOf(res)).Get(appendPageKey(nil, start, r.of.berth, r.channel))
	if page == nil {
		return
	}
	var err error
	if w.page, err = w.unpack.Append(w.page, page, start, int64(res.Step())); err != nil {
		w.store.damagedPage(res, start, r.of.berth, r.channel, err)
	}
}

func put(tx *bolt.Tx, r roll.Resolution, key, page []byte) error {
	b := tx.Bucket(bucketOf(r))
	b.FillPercent = 0.9 // keys rise
	return b.Put(key, page)
}

func (s *Store) damagedPage(r roll.Resolution, start int64, berth, channel string, err error) {
	s.metrics.damaged.Inc()
	s.opts.Log.Error("page of rolls is damaged, going on without", "berth", berth, "channel", channel,
		"step", r.String(), "from", time.Unix(0, start).UTC(), "err", err)
}

func byTime(r roll.Roll, t int64) int { return cmp.Compare(r.Time, t) }

// dropEvery is how often old rolls are dropped.
const dropEvery = time.Hour

// dropAtOnce bounds a transaction that drops pages.
const dropAtOnce = 4096

// dropRolls drops the pages over their retention, now and then.
func (s *Store) dropRolls() error {
	if now := time.Now(); now.Sub(s.dropped) >= dropEvery {
		s.dropped = now
		return s.dropOld()
	}
	return nil
}

func (s *Store) dropOld() error {
	newest := s.newestTime() * int64(time.Millisecond)
	for _, r := range roll.Resolutions() {
		edge := newest - int64(s.opts.Rolls[r]) - pageSpan(r)
		for more := true; more; {
			err := roll.Soundly(func() error {
				return s.rolls.Update(func(tx *bolt.Tx) error {
					c, n := tx.Bucket(bucketOf(r)).Cursor(), 0
					k, _ := c.First()
					for ; k != nil && n < dropAtOnce && len(k) >= 8 && int64(binary.BigEndian.Uint64(k)) <= edge; k, _ = c.First() {
						if err := c.Delete(); err != nil {
							return err
						}
						n++
					}
					more = n == dropAtOnce
					return nil
				})
			})
			if err != nil {
				return fmt.Errorf("store: drop old rolls: %w", err)
			}
		}
	}
	return nil
}

// berthsStored are the berths that have readings.
func (s *Store) berthsStored() ([]string, error) {
	q, err := s.db.Querier(math.MinInt64, math.MaxInt64)
	if err != nil {
		return nil, err
	}
	defer q.Close()
	ctx := context.Background()
	berths, _, err := q.LabelValues(ctx, labelBerth, nil, labels.MustNewMatcher(labels.MatchEqual, model.MetricNameLabel, nameReading))
	return berths, err
}
