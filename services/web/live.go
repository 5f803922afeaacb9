package web

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"time"

	"golang.org/x/sync/errgroup"
	"google.golang.org/protobuf/encoding/protojson"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/alarm"
	"hawser/services/live"
)

// breath is the least time between two events: a storm of alarms is told a few
// times a second, not record by record.
const breath = 100 * time.Millisecond

// live tells the picture for as long as somebody looks: an event "whole" first,
// then "change" when readings or alarms came in and at least every few seconds.
// Each has an id; who was cut off and names the last one seen, in Last-Event-ID or
// as ?after=, is told what it missed and no more, where that can be told.
func (s *Site) live(w http.ResponseWriter, r *http.Request) {
	select {
	case s.viewers <- struct{}{}:
		defer func() { <-s.viewers }()
	default:
		w.Header().Set("Retry-After", "10")
		http.Error(w, fmt.Sprintf("%d pages are open already", s.o.Viewers), http.StatusServiceUnavailable)
		return
	}
	news := make(chan struct{}, 1)
	tell := func() {
		select {
		case news <- struct{}{}:
		default:
		}
	}
	after := s.o.Alarms.Position()
	g, ctx := errgroup.WithContext(r.Context())
	g.Go(func() error {
		return s.o.Board.Watch(ctx, "", s.o.Interval, func([]*hawserv1.BerthPicture) error { tell(); return nil })
	})
	g.Go(func() error {
		return s.o.Alarms.Watch(ctx, "", after, func(*alarm.Record) error { tell(); return nil })
	})
	g.Go(func() error { return s.follow(ctx, newEvents(w, r), r, news) })
	if err := g.Wait(); err != nil && !errors.Is(err, context.Canceled) {
		s.o.Log.Debug("live page ended", "err", err) // slow, gone, or the server stops
	}
}

// follow sends the picture whenever there is news.
func (s *Site) follow(ctx context.Context, out *events, r *http.Request, news <-chan struct{}) error {
	query := r.URL.Query()
	had := parseMark(cmp.Or(r.Header.Get("Last-Event-ID"), query.Get("after")))
	for {
		p, has, whole := s.picture(ctx, query.Get("berth"), had, true)
		name := "change"
		if whole {
			name = "whole"
		}
		data, err := json.Marshal(p)
		if err == nil {
			err = out.send(name, has.String(), data)
		}
		if err != nil {
			return err
		}
		had = has
		select {
		case <-time.After(breath):
		case <-ctx.Done():
			return ctx.Err()
		}
		select {
		case <-news:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// berths gives the picture as JSON.
func (s *Site) berths(w http.ResponseWriter, r *http.Request) {
	pictures := live.Seen(r.Context(), s.o.Access, s.o.Board.Pictures(r.URL.Query().Get("berth")))
	data, err := protojson.Marshal(&hawserv1.ListBerthsResponse{Berths: pictures})
	if err != nil {
		s.o.Log.Error("berths not encoded", "err", err)
		http.Error(w, "the berths could not be encoded", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(data) // the reader may be gone
}
