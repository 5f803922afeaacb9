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
	"github.com/influxdata/influxdb-client-go/v2/api/write"

	"hawser/detect/reading"
	"hawser/ingest/store"
)

// writer carries one append.
type writer struct {
	store   *Store
	to      influxapi.WriteAPIBlocking
	points  []*write.Point // of the request being made
	first   place          // of the first of them, for errors
	refused store.Refused
}

// place is where a point is from.
type place struct {
	berth   string
	channel reading.Channel
	time    int64
}

// append writes the entries request by request. The first that the server cannot take
// now ends it: what was written stays, and is written over by the next try.
func (w *writer) append(ctx context.Context, entries []store.Entry) error {
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
	for i, t := range s.Time {
		if err := w.add(ctx, berth, s.Channel, t, readingPoint(berth, s.Channel, t, s.Value[i], s.QualityAt(i))); err != nil {
			return err
		}
	}
	return nil
}

// add takes a point, and sends what there is when it is enough for a request.
func (w *writer) add(ctx context.Context, berth string, c reading.Channel, t int64, p *write.Point) error {
	if len(w.points) == 0 {
		w.first = place{berth, c, t}
	}
	w.points = append(w.points, p)
	if len(w.points) < w.store.opts.batchPoints {
		return nil
	}
	return w.flush(ctx)
}

// flush sends what there is. Points refused for good are counted and no error.
func (w *writer) flush(ctx context.Context) error {
	if len(w.points) == 0 {
		return nil
	}
	err := w.send(ctx, w.points)
	w.points = w.points[:0]
	return err
}

func (w *writer) send(ctx context.Context, points []*write.Point) error {
	limited, cancel := context.WithTimeout(ctx, w.store.opts.timeout)
	defer cancel()
	err := w.to.WritePoint(limited, points...)
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
	if half := len(points) / 2; answer.StatusCode == http.StatusRequestEntityTooLarge && half > 0 {
		if err := w.send(ctx, points[:half]); err != nil {
			return err
		}
		return w.send(ctx, points[half:])
	}
	if n, ok := dropped(answer, len(points)); ok {
		w.refused.Add(store.Rejected, n, w.first.berth, w.first.channel, w.first.time)
		w.refused.Err = fmt.Errorf("influx: %w", err)
		return nil
	}
	return &store.Unavailable{
		After: time.Duration(answer.RetryAfter) * time.Second,
		Err:   fmt.Errorf("influx: write: status %d: %w", answer.StatusCode, err),
	}
}

// A 1.x server says so many of the request's points it did not take.
var droppedCount = regexp.MustCompile(`dropped=(\d+)`)

// dropped gives the number of points that the server will never take, with ok, or
// !ok for an answer that may change. For good is what is wrong with the points: of
// another type than the field has, older than the policy keeps, over a bound on
// series, too large by itself. A database or policy that is not there may yet be
// made, and a token be put right: losing readings over a setting would be worse
// than waiting, and the journal has them.
func dropped(e *api.Error, points int) (n int, ok bool) {
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
			return min(n, points), true
		}
	}
	return points, true
}
