// Package store keeps readings so that they can be drawn and exported later. It
// never decides anything about a mooring, and nothing waits for it: the journal
// is the truth, a store follows it and may be down, emptied or filled again.
// Invariants: storing the same block any number of times leaves each reading in
// the store once; the points of a step are what reckoning them from the stored
// readings gives, from whichever rolls they were made (see roll).
//
//	journal ─► Pump: copy, group, retry in order ─► Store ┬ tsdb   files of this process
//	               └─► position up to which all is stored └ influx a server
package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"time"
	"unicode/utf8"

	"hawser/detect/reading"
	"hawser/ingest/store/roll"
)

// Store takes readings and gives them back. All its methods may be called
// concurrently.
type Store interface {
	// Append stores a berth's block. Nothing of the block is kept after the call.
	// A *Refused error means that all but the readings it counts are stored; after
	// any other error the same block may be given again, as often as it takes.
	Append(ctx context.Context, berth string, block *reading.Block) error
	// AppendMany is Append for several blocks at the price of one.
	AppendMany(ctx context.Context, entries []Entry) error
	// Query reads a span of one channel or of several, ordered by channel name.
	Query(ctx context.Context, q Query) ([]Result, error)
	Close() error
}

// Entry is a block and the berth it came from.
type Entry struct {
	Berth string
	Block *reading.Block
}

// DefaultMaxPoints bounds an answer where the query does not.
const DefaultMaxPoints = 200_000

// Errors of a query that callers tell apart.
var (
	ErrTooManyPoints = errors.New("too many points")
	ErrBadQuery      = errors.New("bad query")
	ErrClosed        = errors.New("store is closed")
)

// Query asks for the readings of a berth in [From, To).
type Query struct {
	Berth string
	// Channel is what to read. A line's kind without a line asks for that kind on
	// every line, the zero Channel for all there is.
	Channel  reading.Channel
	From, To time.Time
	// Step reduces the readings to one point per step, 0 gives them as they are.
	// Steps are counted from the Unix epoch; From is taken down and To up to
	// whole steps. Where the step is a whole number of seconds the answer is made of
	// the coarsest rolls that make it up exactly, and so goes back as far as they are
	// kept; else of the readings.
	Step time.Duration
	// Points asks for a drawing, in place of a step: the store takes the finest of a
	// ladder of steps that gives at most so many points a channel and that it still
	// has at From. Result.Step tells which.
	Points int
	// Quality asks for the quality codes of the readings that were not good (and
	// are numbers of reading.Quality) instead of values.
	Quality bool
	// MaxPoints bounds the whole answer; 0 is DefaultMaxPoints. A query that would
	// give more fails with ErrTooManyPoints and gives nothing.
	MaxPoints int
}

// Result is the answer for one channel, in columns ordered by time. Channels
// without a point in the span have no result.
type Result struct {
	Channel reading.Channel
	// Time is Unix nanoseconds UTC: of the reading, or of the start of its step.
	Time []int64
	// Value is the reading, or the mean of the step's readings.
	Value []float64
	// Min, Max, Std and Count are of the step's readings, nil for a query without
	// steps. Std is the standard deviation of these readings (divided by their
	// number), 0 of a single one.
	Min, Max, Std []float64
	Count         []int64
	// Step is the query's, or what was taken for its Points; 0 for readings as they
	// are.
	Step time.Duration
}

// AppendRoll adds a point for the readings of a step.
func (r *Result) AppendRoll(p *roll.Roll) {
	r.Time = append(r.Time, p.Time)
	r.Value = append(r.Value, p.Mean())
	r.Min = append(r.Min, p.Min())
	r.Max = append(r.Max, p.Max())
	r.Std = append(r.Std, p.Std())
	r.Count = append(r.Count, p.Count)
}

// ladder is the steps for a drawing. All of a second or more are whole numbers of
// the resolution of rolls below them.
func ladder() []time.Duration {
	const s, m, h, d = time.Second, time.Minute, time.Hour, 24 * time.Hour
	return []time.Duration{
		s / 10, s / 5, s / 2, s, 2 * s, 5 * s, 10 * s, 20 * s, 30 * s, m, 2 * m, 5 * m, 10 * m, 20 * m, 30 * m,
		h, 2 * h, 3 * h, 6 * h, 12 * h, d, 2 * d, 5 * d, 10 * d, 20 * d, 50 * d, 100 * d, 200 * d, 500 * d, 1000 * d,
		2000 * d, 5000 * d, 10_000 * d, 20_000 * d, 50_000 * d, 100_000 * d,
	}
}

// ChooseStep puts a step in place of the number of points asked for, of least or
// more: the finest that the store still has at From. Stores call it before
// Normalise.
func (q *Query) ChooseStep(least time.Duration) {
	if q.Points < 3 || q.Step != 0 { // Normalise tells
		return
	}
	for _, q.Step = range ladder() {
		// One more than the span has may be needed, as its ends are taken to whole steps.
		if q.Step >= least && int64(q.To.Sub(q.From)/q.Step)+2 <= int64(q.Points) {
			break
		}
	}
	q.Points = 0
}

// Normalise checks the query and gives its span in Unix nanoseconds, taken to
// whole steps, and its bound on points. Stores call it first.
func (q *Query) Normalise() (from, to int64, limit int, err error) {
	if err := CheckName(q.Berth); err != nil {
		return 0, 0, 0, fmt.Errorf("%w: berth: %w", ErrBadQuery, err)
	}
	if q.Channel.Line != "" {
		if err := CheckName(q.Channel.Line); err != nil {
			return 0, 0, 0, fmt.Errorf("%w: line: %w", ErrBadQuery, err)
		}
		if !q.Channel.Kind.OfLine() {
			return 0, 0, 0, fmt.Errorf("%w: %s is not a line's channel", ErrBadQuery, q.Channel.Kind)
		}
	}
	from, to = q.From.UnixNano(), q.To.UnixNano()
	switch {
	case q.From.Year() < 1970 || q.To.Year() > 2261:
		return 0, 0, 0, fmt.Errorf("%w: from %s to %s is outside 1970 to 2261", ErrBadQuery, q.From, q.To)
	case to <= from:
		return 0, 0, 0, fmt.Errorf("%w: to %s is not after from %s", ErrBadQuery, q.To.UTC().Format(time.RFC3339Nano), q.From.UTC().Format(time.RFC3339Nano))
	case q.Step < 0 || q.Step%time.Millisecond != 0:
		return 0, 0, 0, fmt.Errorf("%w: step %s is not a whole number of milliseconds", ErrBadQuery, q.Step)
	case q.Points != 0 && q.Step != 0:
		return 0, 0, 0, fmt.Errorf("%w: both points and a step", ErrBadQuery)
	case q.Points < 0 || q.Points == 1 || q.Points == 2:
		return 0, 0, 0, fmt.Errorf("%w: %d points, 3 are the fewest", ErrBadQuery, q.Points)
	case q.MaxPoints < 0:
		return 0, 0, 0, fmt.Errorf("%w: at most %d points", ErrBadQuery, q.MaxPoints)
	}
	limit = q.MaxPoints
	limit = cmp.Or(limit, DefaultMaxPoints)
	if step := int64(q.Step); step > 0 {
		from -= from % step
		if over := to % step; over != 0 {
			to += step - over
		}
		if n := (to - from) / step; n > int64(limit) {
			return 0, 0, 0, fmt.Errorf("%w: %d steps of %s, at most %d", ErrTooManyPoints, n, q.Step, limit)
		}
	}
	return from, to, limit, nil
}

// maxName bounds the length of a berth's or line's name, bytes.
const maxName = 64

// CheckName tells why a berth or line cannot be a label of a series: plans allow
// less than this, a store relies on no more.
func CheckName(name string) error {
	if name == "" || len(name) > maxName || !utf8.ValidString(name) {
		return fmt.Errorf("name %.80q is empty, over %d bytes or not UTF-8", name, maxName)
	}
	for _, r := range name {
		if r < ' ' || r == 0x7f || r == '\\' {
			return fmt.Errorf("name %q has a control character or backslash", name)
		}
	}
	return nil
}

// CheckChannel tells why a channel cannot be stored.
func CheckChannel(c reading.Channel) error {
	if c.Kind == reading.Unknown || c.Kind.String() == "unknown" {
		return errors.New("channel of unknown kind")
	}
	if c.Kind.OfLine() {
		return CheckName(c.Line)
	}
	return nil
}
