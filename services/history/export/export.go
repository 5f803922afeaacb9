// Package export writes readings in files of open formats: Parquet, an Arrow stream
// or CSV. It reads nothing but a store and reckons nothing. Its invariant: whatever
// the span, what is in memory at a time is bounded, and a file that was not closed
// can be told from a whole one.
//
//	time     timestamp, ns, UTC   of the reading, or of the start of its step
//	berth    text
//	channel  text                 as in recordings: 7/tension
//	unit     text                 kN, m, m/s, deg; empty for a state
//	value    double               the reading; with steps mean, min, max, std, count
//
// Rows come in spans of minutes to hours, in each by channel and then by time. Bad
// readings have no number and are not among them.
package export

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/store"
)

// Formats.
const (
	Parquet = "parquet"
	Arrow   = "arrow" // the streaming form
	CSV     = "csv"
)

// Head is what a file says of itself, beside its rows. CSV has no place for it.
type Head struct {
	Berth    string
	From, To time.Time
	Step     time.Duration // 0 for readings as they are
	// Plan is the mooring plan in force, as text, and Fingerprint its name on record;
	// empty where there is none.
	Plan, Fingerprint string
}

// note is one thing that a file says of itself.
type note struct{ key, value string }

func (h Head) notes() []note {
	units := map[string]string{}
	for k := reading.Tension; k.String() != reading.Unknown.String(); k++ {
		units[k.String()] = k.Unit()
	}
	text, _ := json.Marshal(units) // of strings: it cannot fail
	return []note{
		{"hawser.berth", h.Berth},
		{"hawser.from", h.From.UTC().Format(time.RFC3339Nano)},
		{"hawser.to", h.To.UTC().Format(time.RFC3339Nano)},
		{"hawser.step", h.Step.String()},
		{"hawser.units", string(text)},
		{"hawser.plan", h.Plan},
		{"hawser.plan_fingerprint", h.Fingerprint},
	}
}

// Writer takes rows. Close ends the file; the writer below stays open.
type Writer interface {
	Write(results []store.Result) error
	Close() error
}

// New begins a file of a format.
func New(format string, w io.Writer, h Head) (Writer, error) {
	switch format {
	case Parquet:
		return newParquet(w, h), nil
	case Arrow:
		return newArrow(w, h), nil
	case CSV:
		return newCSV(w, h)
	}
	return nil, fmt.Errorf("%q is none of parquet, arrow, csv", format)
}

// MediaType is a format's name in HTTP, "" for no format.
func MediaType(format string) string {
	return map[string]string{
		Parquet: "application/vnd.apache.parquet", Arrow: "application/vnd.apache.arrow.stream", CSV: "text/csv; charset=utf-8",
	}[format]
}

// FormatOf is the format by a file's name, "" where it says none.
func FormatOf(path string) string {
	return map[string]string{".parquet": Parquet, ".arrow": Arrow, ".arrows": Arrow, ".csv": CSV}[strings.ToLower(filepath.Ext(path))]
}

// Store answers questions about what was.
type Store interface {
	Query(ctx context.Context, q store.Query) ([]store.Result, error)
}

// Bounds of one piece of a span.
const (
	piecePoints = 100_000
	firstPiece  = 10 * time.Minute
	mostPiece   = 24 * time.Hour
)

// Copy hands what a store has of a span to write, piece by piece. The bounds of a span
// in steps are to be whole steps.
func Copy(ctx context.Context, s Store, q store.Query, write func([]store.Result) error) error {
	least := max(q.Step, time.Second)
	for piece := max(least, firstPiece-firstPiece%least); q.From.Before(q.To); {
		part := q
		part.MaxPoints = piecePoints
		if to := q.From.Add(piece); to.Before(part.To) {
			part.To = to
		}
		results, err := s.Query(ctx, part)
		if errors.Is(err, store.ErrTooManyPoints) && piece > least {
			piece = max(least, piece/2-piece/2%least)
			continue
		}
		if err != nil {
			return err
		}
		points := 0
		for _, r := range results {
			points += len(r.Time)
		}
		if err := write(results); err != nil {
			return err
		}
		if points < piecePoints/4 {
			piece = min(2*piece, max(least, mostPiece-mostPiece%least))
		}
		q.From = part.To
	}
	return nil
}
