package influx

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/influxdata/influxdb-client-go/v2/api/query"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/ingest/store/roll"
)

// Query reads a span; see store.Store. Reduction is done here: a 1.x server takes
// seconds to cut some minutes into steps.
func (s *Store) Query(ctx context.Context, q store.Query) ([]store.Result, error) {
	q.ChooseStep(0)
	from, to, limit, err := q.Normalise()
	if err != nil {
		return nil, fmt.Errorf("influx: %w", err)
	}
	if s.isClosed() {
		return nil, store.ErrClosed
	}
	var results []store.Result
	res, rolls := roll.Coarsest(q.Step)
	switch {
	case q.Step == 0:
		results, err = s.queryReadings(ctx, &q, from, to, limit)
	case rolls && !q.Quality:
		results, err = s.queryRolls(ctx, &q, res, from, to, limit)
	default:
		var points map[reading.Channel][]roll.Roll
		if points, err = s.fold(ctx, &q, from, to, q.Step); err == nil {
			results, err = inSteps(points, q.Step, limit)
		}
	}
	if err != nil {
		return nil, fmt.Errorf("influx: query %s of berth %s: %w", q.Channel, q.Berth, err)
	}
	slices.SortFunc(results, byChannel)
	return results, nil
}

// queryReadings gives the readings as they are. One row over the limit is asked for,
// to see that there is more. Rows of a channel come in order of time.
func (s *Store) queryReadings(ctx context.Context, q *store.Query, from, to int64, limit int) ([]store.Result, error) {
	channels := make(map[reading.Channel]*store.Result)
	ask := data(s.opts.Bucket, from, to, where(q)) + fmt.Sprintf(" |> limit(n: %d)", limit+1)
	err := s.rows(ctx, ask, func(row *query.FluxRecord) error {
		c, v, err := readRow(row, kindOf(row.Measurement()))
		if err != nil || c.Kind == reading.Unknown {
			return err
		}
		if limit--; limit < 0 {
			return store.ErrTooManyPoints
		}
		to, ok := channels[c]
		if !ok {
			to = &store.Result{Channel: c}
			channels[c] = to
		}
		to.Time = append(to.Time, row.Time().UnixNano())
		to.Value = append(to.Value, v)
		return nil
	})
	if err != nil {
		return nil, err
	}
	out := make([]store.Result, 0, len(channels))
	for _, r := range channels {
		out = append(out, *r)
	}
	return out, nil
}

// fold reads readings and reduces them to steps, each channel's in order.
func (s *Store) fold(ctx context.Context, q *store.Query, from, to int64, step time.Duration) (map[reading.Channel][]roll.Roll, error) {
	points := make(map[reading.Channel][]roll.Roll)
	err := s.rows(ctx, data(s.opts.Bucket, from, to, where(q)), func(row *query.FluxRecord) error {
		c, v, err := readRow(row, kindOf(row.Measurement()))
		if err != nil || c.Kind == reading.Unknown {
			return err
		}
		t, of := roll.Floor(row.Time().UnixNano(), int64(step)), points[c]
		if n := len(of); n == 0 || of[n-1].Time != t {
			of = append(of, roll.Roll{Time: t})
		}
		of[len(of)-1].Add(v, roll.NoGrid)
		points[c] = of
		return nil
	})
	for c := range points {
		points[c] = inOrder(points[c])
	}
	return points, err
}

// inSteps makes the answer from points that are of the step or finer.
func inSteps(points map[reading.Channel][]roll.Roll, step time.Duration, limit int) ([]store.Result, error) {
	out := make([]store.Result, 0, len(points))
	for c, of := range points {
		of = roll.Reduce(of, int64(step))
		if limit -= len(of); limit < 0 {
			return nil, store.ErrTooManyPoints
		}
		r := store.Result{Channel: c, Step: step}
		for i := range of {
			r.AppendRoll(&of[i])
		}
		out = append(out, r)
	}
	return out, nil
}

// rows asks the server and gives each row of its answer.
func (s *Store) rows(ctx context.Context, flux string, each func(*query.FluxRecord) error) error {
	limited, cancel := context.WithTimeout(ctx, s.opts.timeout)
	defer cancel() // what the client leaves open of an answer too
	// One for each question: the client's own keeps its URL without a lock when first
	// used, and the roller asks while others do.
	rows, err := s.client.QueryAPI(s.opts.Org).Query(limited, flux)
	if err == nil {
		defer rows.Close()
		for rows.Next() {
			if err := each(rows.Record()); err != nil {
				return err
			}
		}
		err = rows.Err()
	}
	if ctx.Err() != nil {
		return ctx.Err()
	}
	return err
}

// where picks the readings of a query.
func where(q *store.Query) string {
	field := fieldValue
	if q.Quality {
		field = fieldQuality
	}
	out := "r._field == " + quote(field) + " and " + ofBerth(q.Berth)
	if q.Channel.Kind != reading.Unknown {
		out += " and r._measurement == " + quote(measurement(q.Channel.Kind))
	}
	if q.Channel.Line != "" {
		out += " and r.line == " + quote(q.Channel.Line)
	}
	return out
}

// data is the rows of a span.
func data(bucket string, from, to int64, where string) string {
	// A 1.x server takes a range's stop for part of it; later ones do not.
	return fmt.Sprintf("from(bucket: %s) |> range(start: %s, stop: %s) |> filter(fn: (r) => %s) |> filter(fn: (r) => r._time < %s)",
		quote(bucket), stamp(from), stamp(to), where, stamp(to))
}

func ofBerth(berth string) string { return "r.berth == " + quote(berth) }

func stamp(ns int64) string { return time.Unix(0, ns).UTC().Format(time.RFC3339Nano) }

// quote writes a Flux string with all but letters, digits and a few signs as hex,
// so that a name can never be part of the query.
func quote(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for i := range len(s) {
		c := s[i]
		switch {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9', strings.IndexByte("-_./ ", c) >= 0:
			b.WriteByte(c)
		default:
			fmt.Fprintf(&b, `\x%02x`, c)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// readRow is the channel, of a kind, and the number of a row.
func readRow(row *query.FluxRecord, kind reading.Kind) (c reading.Channel, v float64, err error) {
	line, _ := row.ValueByKey(tagLine).(string)
	c = reading.Channel{Line: line, Kind: kind}
	v, ok := number(row.Value())
	if !ok && kind != reading.Unknown {
		return c, 0, fmt.Errorf("%s at %s: value %v is not a number", c, row.Time(), row.Value())
	}
	return c, v, nil
}

func number(v any) (float64, bool) {
	switch v := v.(type) {
	case float64:
		return v, true
	case int64:
		return float64(v), true
	case uint64:
		return float64(v), true
	default:
		return 0, false
	}
}

func byChannel(a, b store.Result) int { return strings.Compare(a.Channel.String(), b.Channel.String()) }
