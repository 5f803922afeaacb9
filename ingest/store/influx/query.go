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
)

// Query reads a span; see store.Store. Reduction is the server's work.
func (s *Store) Query(ctx context.Context, q store.Query) ([]store.Result, error) {
	from, to, limit, err := q.Normalise()
	if err != nil {
		return nil, fmt.Errorf("influx: %w", err)
	}
	if s.isClosed() {
		return nil, store.ErrClosed
	}
	limited, cancel := context.WithTimeout(ctx, s.opts.Timeout)
	defer cancel() // what the client leaves open of an answer too
	results := newResults(limit, q.Step > 0)
	rows, err := s.query.Query(limited, flux(s.opts.Bucket, &q, from, to, limit))
	if err == nil {
		defer rows.Close()
		for rows.Next() {
			if err := results.add(rows.Record()); err != nil {
				return nil, fmt.Errorf("influx: query %s of berth %s: %w", q.Channel, q.Berth, err)
			}
		}
		err = rows.Err()
	}
	if ctx.Err() != nil {
		err = ctx.Err()
	}
	if err != nil {
		return nil, fmt.Errorf("influx: query %s of berth %s: %w", q.Channel, q.Berth, err)
	}
	return results.sorted()
}

// The functions of a step, and the names of the tables they give.
const (
	fnMean  = "mean"
	fnMin   = "min"
	fnMax   = "max"
	fnCount = "count"
)

// flux writes the query. One row over the limit is asked for, to see that there
// is more.
func flux(bucket string, q *store.Query, from, to int64, limit int) string {
	field := fieldValue
	if q.Quality {
		field = fieldQuality
	}
	where := fmt.Sprintf("r._field == %s and r.berth == %s", quote(field), quote(q.Berth))
	if q.Channel.Kind != reading.Unknown {
		where += " and r._measurement == " + quote(measurement(q.Channel.Kind))
	}
	if q.Channel.Line != "" {
		where += " and r.line == " + quote(q.Channel.Line)
	}
	// A 1.x server takes a range's stop for part of it; later ones do not.
	src := fmt.Sprintf("data = from(bucket: %s) |> range(start: %s, stop: %s) |> filter(fn: (r) => %s) |> filter(fn: (r) => r._time < %s)\n",
		quote(bucket), stamp(from), stamp(to), where, stamp(to))
	if q.Step == 0 {
		return src + fmt.Sprintf("data |> limit(n: %d)\n", limit+1)
	}
	for _, fn := range []string{fnMean, fnMin, fnMax, fnCount} {
		src += fmt.Sprintf("data |> aggregateWindow(every: %dms, fn: %s, createEmpty: false, timeSrc: \"_start\")"+
			" |> yield(name: \"%s\")\n", q.Step.Milliseconds(), fn, fn)
	}
	return src
}

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

// results gathers rows by channel.
type results struct {
	left     int // rows of the first table that may still be added
	reduced  bool
	channels map[reading.Channel]*store.Result
}

func newResults(limit int, reduced bool) *results {
	return &results{left: limit, reduced: reduced, channels: make(map[reading.Channel]*store.Result)}
}

// add takes one row. Rows of a channel come in order of time; the rows of the
// other functions of a step come for the same steps as its mean.
func (r *results) add(row *query.FluxRecord) error {
	line, _ := row.ValueByKey(tagLine).(string)
	c := reading.Channel{Line: line, Kind: kindOf(row.Measurement())}
	if c.Kind == reading.Unknown {
		return nil
	}
	v, ok := number(row.Value())
	if !ok {
		return fmt.Errorf("%s at %s: value %v is not a number", c, row.Time(), row.Value())
	}
	to, ok := r.channels[c]
	if !ok {
		to = &store.Result{Channel: c}
		r.channels[c] = to
	}
	switch fn := row.Result(); {
	case !r.reduced || fn == fnMean:
		if r.left--; r.left < 0 {
			return store.ErrTooManyPoints
		}
		to.Time = append(to.Time, row.Time().UnixNano())
		to.Value = append(to.Value, v)
	case fn == fnMin:
		to.Min = append(to.Min, v)
	case fn == fnMax:
		to.Max = append(to.Max, v)
	case fn == fnCount:
		to.Count = append(to.Count, int64(v))
	}
	return nil
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

// sorted is the answer, if it is whole: the functions of a step are read one after
// the other, and readings may come in between.
func (r *results) sorted() ([]store.Result, error) {
	out := make([]store.Result, 0, len(r.channels))
	for c, to := range r.channels {
		n := len(to.Time)
		if r.reduced && (len(to.Min) != n || len(to.Max) != n || len(to.Count) != n) {
			return nil, fmt.Errorf("influx: query: %s: %d steps with a mean, %d with a least, %d with a greatest value, %d with a count",
				c, n, len(to.Min), len(to.Max), len(to.Count))
		}
		if n > 0 {
			out = append(out, *to)
		}
	}
	slices.SortFunc(out, func(a, b store.Result) int {
		return strings.Compare(a.Channel.String(), b.Channel.String())
	})
	return out, nil
}
