package influx

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/influxdata/influxdb-client-go/v2/api/query"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/ingest/store/roll"
)

var _ roll.Keeper = (*Store)(nil)

// Reckon reckons spans from the readings that the server has and writes their rolls
// over those that were there; see roll.Keeper.
func (s *Store) Reckon(ctx context.Context, places []roll.Place) error {
	if s.isClosed() {
		return store.ErrClosed
	}
	for _, p := range places {
		if err := s.reckon(ctx, p); err != nil {
			return fmt.Errorf("influx: roll up berth %s from %s: %w", p.Berth, stamp(p.Start), err)
		}
	}
	return nil
}

func (s *Store) reckon(ctx context.Context, p roll.Place) error {
	if store.CheckName(p.Berth) != nil {
		return nil // its readings were refused
	}
	seconds, err := s.fold(ctx, &store.Query{Berth: p.Berth}, p.Start, p.End(), roll.Second.Step())
	if err != nil {
		return err
	}
	before, err := s.counts(ctx, p)
	if err != nil {
		return err
	}
	w := writer{store: s, to: s.writeRoll}
	for c, rolls := range seconds {
		if err := w.rolls(ctx, p, c, rolls, before[c]); err != nil {
			return err
		}
	}
	if err := w.flush(ctx); err != nil {
		return err
	}
	if err := w.refused.AsError(); err != nil { // for good: there is no use in trying again
		s.opts.Log.Warn("server refused rolls for good", "err", err)
	}
	return nil
}

// counts are how many readings each channel's roll of a span is known to be of.
func (s *Store) counts(ctx context.Context, p roll.Place) (map[reading.Channel]int64, error) {
	kept, err := s.kept(ctx, &store.Query{Berth: p.Berth}, roll.TenMinutes, p.Start, p.End())
	if err != nil {
		return nil, err
	}
	out := make(map[reading.Channel]int64)
	for c, rolls := range kept {
		out[c] = rolls[0].Count
	}
	return out, nil
}

// rolls writes a channel's rolls from those of its seconds, unless some of the
// readings known before have gone. That of the whole span goes last: it says how
// many readings all of them are of.
func (w *writer) rolls(ctx context.Context, p roll.Place, c reading.Channel, rolls []roll.Roll, before int64) error {
	count := int64(0)
	for i := range rolls {
		count += rolls[i].Count
	}
	if count < before {
		return nil
	}
	for _, res := range roll.Resolutions() {
		rolls = roll.Reduce(rolls, int64(res.Step()))
		for i := range rolls {
			if err := w.add(ctx, p.Berth, c, rolls[i].Time, rollPoint(p.Berth, c, res, &rolls[i])); err != nil {
				return err
			}
		}
	}
	return nil
}

// inOrder puts rolls in order and those of one time together.
func inOrder(rolls []roll.Roll) []roll.Roll {
	slices.SortStableFunc(rolls, func(a, b roll.Roll) int { return cmp.Compare(a.Time, b.Time) })
	return roll.Reduce(rolls, 1)
}

// queryRolls answers from rolls of a resolution that makes up the step, and from
// readings where those wait to be rolled up.
func (s *Store) queryRolls(ctx context.Context, q *store.Query, res roll.Resolution, from, to int64, limit int) ([]store.Result, error) {
	// The list first: a span that is rolled up now is still read from its readings.
	waiting := s.pending.Ranges(q.Berth, from, to)
	rolls, err := s.kept(ctx, q, res, from, to)
	if err != nil {
		return nil, err
	}
	for _, bare := range append(waiting, s.neverRolled(rolls, waiting, from, to)...) {
		fresh, err := s.fold(ctx, q, max(bare[0], from), min(bare[1], to), res.Step())
		if err != nil {
			return nil, err
		}
		for c := range fresh {
			rolls[c] = joined(rolls[c], fresh[c])
		}
	}
	return inSteps(rolls, q.Step, limit)
}

// neverRolled are the stretches of whole spans, Unix ns, that have no rolls and do not
// wait for any, where the server may have readings from before they were rolled up.
func (s *Store) neverRolled(rolls map[reading.Channel][]roll.Roll, waiting [][2]int64, from, to int64) (out [][2]int64) {
	known := make(map[int64]bool)
	for _, of := range rolls {
		for i := range of {
			known[roll.Floor(of[i].Time, int64(roll.Span))] = true
		}
	}
	for _, wait := range waiting {
		for t := wait[0]; t < wait[1]; t += int64(roll.Span) {
			known[t] = true
		}
	}
	for t := roll.Floor(from, int64(roll.Span)); t < min(to, s.rollsSince); t += int64(roll.Span) {
		if known[t] {
			continue
		}
		if n := len(out); n > 0 && out[n-1][1] == t {
			out[n-1][1] += int64(roll.Span)
			continue
		}
		out = append(out, [2]int64{t, t + int64(roll.Span)})
	}
	return out
}

// joined takes what was reckoned just now into rolls in order. Of two for one time
// the one of more readings is the newer.
func joined(rolls, fresh []roll.Roll) []roll.Roll {
	rolls = append(rolls, fresh...)
	slices.SortFunc(rolls, func(a, b roll.Roll) int {
		return cmp.Or(cmp.Compare(a.Time, b.Time), cmp.Compare(b.Count, a.Count))
	})
	return slices.CompactFunc(rolls, func(a, b roll.Roll) bool { return a.Time == b.Time })
}

// figures is a roll whose fields are being read.
type figures struct {
	mean, low, top, std float64
	count               int64 // 0 for one of a single reading
}

// kept reads rolls by channel, each in order.
func (s *Store) kept(ctx context.Context, q *store.Query, res roll.Resolution, from, to int64) (map[reading.Channel][]roll.Roll, error) {
	where := ofBerth(q.Berth)
	if q.Channel.Kind != reading.Unknown {
		where += " and r._measurement == " + quote(rollMeasurement(q.Channel.Kind, res))
	} else {
		where += " and r._measurement =~ /_" + res.String() + "$/"
	}
	if q.Channel.Line != "" {
		where += " and r.line == " + quote(q.Channel.Line)
	}
	found := make(map[reading.Channel]map[int64]*figures)
	err := s.rows(ctx, data(s.opts.RollBucket, from, to, where), func(row *query.FluxRecord) error {
		c, v, err := readRow(row, kindOf(strings.TrimSuffix(row.Measurement(), "_"+res.String())))
		if err != nil || c.Kind == reading.Unknown {
			return err
		}
		times := found[c]
		if times == nil {
			times = make(map[int64]*figures)
			found[c] = times
		}
		t := row.Time().UnixNano()
		f := times[t]
		if f == nil {
			f = &figures{}
			times[t] = f
		}
		f.set(row.Field(), v)
		return nil
	})
	if err != nil {
		return nil, err
	}
	out := make(map[reading.Channel][]roll.Roll, len(found))
	for c, times := range found {
		for t, f := range times {
			out[c] = append(out[c], f.roll(t))
		}
		out[c] = inOrder(out[c])
	}
	return out, nil
}

func (f *figures) set(field string, v float64) {
	switch field {
	case fieldMean:
		f.mean = v
	case fieldMin:
		f.low = v
	case fieldMax:
		f.top = v
	case fieldStd:
		f.std = v
	case fieldCount:
		f.count = int64(v)
	}
}

func (f *figures) roll(t int64) roll.Roll {
	if f.count == 0 {
		return roll.Of(t, 1, f.mean, f.mean, f.mean, 0)
	}
	return roll.Of(t, f.count, f.low, f.mean, f.top, f.std)
}
