package influx

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"time"

	influxapi "github.com/influxdata/influxdb-client-go/v2/api"
	api "github.com/influxdata/influxdb-client-go/v2/api/http"

	"hawser/detect/reading"
	"hawser/ingest/store"
)

// writer carries one append.
type writer struct {
	store   *Store
	to      influxapi.WriteAPIBlocking
	batch   *batch
	refused store.Refused
}

// append writes the entries batch by batch. The first that the server cannot take
// now ends it: what was written stays, and is written over by the next try.
func (w *writer) append(ctx context.Context, entries []store.Entry) error {
	w.batch.reset()
	for _, e := range entries {
		for i := range e.Block.Series {
			if err := w.series(ctx, e.Berth, &e.Block.Series[i]); err != nil {
				return err
			}
		}
	}
	if err := w.flush(ctx); err != nil {
		return err
	}
	return w.refused.AsError()
}

func (w *writer) series(ctx context.Context, berth string, s *reading.Series) error {
	if s.Len() == 0 {
		return nil
	}
	if store.CheckName(berth) != nil || store.CheckChannel(s.Channel) != nil {
		w.refused.Add(store.Unnamed, s.Len(), berth, s.Channel, s.Time[0])
		return nil
	}
	w.batch.begin(berth, s.Channel)
	for i, t := range s.Time {
		if w.batch.lines == 0 {
			w.batch.berth, w.batch.channel, w.batch.time = berth, s.Channel, t
		}
		w.batch.add(t, s.Value[i], s.QualityAt(i))
		if w.batch.lines >= w.store.opts.batchLines {
			if err := w.flush(ctx); err != nil {
				return err
			}
		}
	}
	return nil
}

// flush sends the batch. Lines refused for good are counted and no error.
func (w *writer) flush(ctx context.Context) error {
	if w.batch.lines == 0 {
		return nil
	}
	// A copy, since the client may read on for a moment after a request has failed.
	err := w.send(ctx, string(w.batch.text), w.batch.lines)
	w.batch.reset()
	return err
}

func (w *writer) send(ctx context.Context, text string, lines int) error {
	limited, cancel := context.WithTimeout(ctx, w.store.opts.timeout)
	defer cancel()
	err := w.to.WriteRecord(limited, text)
	if err == nil {
		return nil
	}
	if ctx.Err() != nil {
		return fmt.Errorf("influx: write: %w", ctx.Err())
	}
	var answer *api.Error
	if !errors.As(err, &answer) || answer.StatusCode == 0 {
		return &store.Unavailable{Err: fmt.Errorf("influx: write: %w", err)}
	}
	if answer.StatusCode == http.StatusRequestEntityTooLarge && lines > 1 {
		return w.halve(ctx, text, lines)
	}
	if n, ok := dropped(answer, lines); ok {
		w.refused.Add(store.Rejected, n, w.batch.berth, w.batch.channel, w.batch.time)
		w.refused.Err = fmt.Errorf("influx: %w", err)
		return nil
	}
	return &store.Unavailable{
		After: time.Duration(answer.RetryAfter) * time.Second,
		Err:   fmt.Errorf("influx: write: status %d: %w", answer.StatusCode, err),
	}
}

// halve sends what was too large for one request in two.
func (w *writer) halve(ctx context.Context, text string, lines int) error {
	at := 0
	for range lines / 2 {
		at += strings.IndexByte(text[at:], '\n') + 1
	}
	if err := w.send(ctx, text[:at], lines/2); err != nil {
		return err
	}
	return w.send(ctx, text[at:], lines-lines/2)
}

// A 1.x server says so many of the request's points it did not take.
var droppedCount = regexp.MustCompile(`dropped=(\d+)`)

// dropped gives the number of lines that the server will never take, with ok, or
// !ok for an answer that may change. For good is what is wrong with the points: of
// another type than the field has, older than the policy keeps, over a bound on
// series, too large by itself. A database or policy that is not there may yet be
// made, and a token be put right: losing readings over a setting would be worse
// than waiting, and the journal has them.
func dropped(e *api.Error, lines int) (n int, ok bool) {
	switch e.StatusCode {
	case http.StatusBadRequest, http.StatusUnprocessableEntity, http.StatusRequestEntityTooLarge:
	default:
		return 0, false
	}
	if strings.Contains(e.Message, "not found") {
		return 0, false
	}
	if m := droppedCount.FindStringSubmatch(e.Message); m != nil {
		if n, err := strconv.Atoi(m[1]); err == nil {
			return min(n, lines), true
		}
	}
	return lines, true
}
