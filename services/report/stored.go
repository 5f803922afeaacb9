package report

import (
	"context"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/store"
)

// Stored is a Source over a store.
type Stored struct {
	Store interface {
		Query(ctx context.Context, q store.Query) ([]store.Result, error)
	}
	Berth string
}

// mostPoints bounds one answer of the store: a kind of channel over ten days in steps
// of ten seconds on 64 lines, and one more.
const mostPoints = 65 * 86_400

// Reduced is part of Source.
func (s Stored) Reduced(ctx context.Context, kind reading.Kind, from, to time.Time, step time.Duration) ([]Course, error) {
	return s.ask(ctx, store.Query{Channel: reading.Channel{Kind: kind}, From: from, To: to, Step: step})
}

// Plain is part of Source.
func (s Stored) Plain(ctx context.Context, kind reading.Kind, from, to time.Time) ([]Course, error) {
	return s.ask(ctx, store.Query{Channel: reading.Channel{Kind: kind}, From: from, To: to})
}

// Each is part of Source: an hour at a time.
func (s Stored) Each(ctx context.Context, kind reading.Kind, from, to time.Time, fn func(*Course)) error {
	for from.Before(to) {
		next := from.Add(time.Hour)
		if next.After(to) {
			next = to
		}
		courses, err := s.Plain(ctx, kind, from, next)
		if err != nil {
			return err
		}
		for k := range courses {
			fn(&courses[k])
		}
		from = next
	}
	return nil
}

func (s Stored) ask(ctx context.Context, q store.Query) ([]Course, error) {
	if !q.From.Before(q.To) {
		return nil, nil
	}
	q.Berth, q.MaxPoints = s.Berth, mostPoints
	results, err := s.Store.Query(ctx, q)
	if err != nil {
		return nil, err
	}
	out := make([]Course, len(results))
	for k, r := range results {
		out[k] = Course{Channel: r.Channel, Time: r.Time, Min: r.Min, Mean: r.Value, Max: r.Max}
		if q.Step == 0 {
			out[k].Min, out[k].Max = r.Value, r.Value
		}
	}
	return out, nil
}

// Bad is part of Source.
func (s Stored) Bad(ctx context.Context, from, to time.Time) (map[string]int, error) {
	out := map[string]int{}
	if !from.Before(to) {
		return out, nil
	}
	results, err := s.Store.Query(ctx, store.Query{Berth: s.Berth, Channel: reading.Channel{Kind: reading.Tension}, From: from, To: to,
		Quality: true, MaxPoints: mostPoints})
	if err != nil {
		return nil, err
	}
	for _, r := range results {
		for _, v := range r.Value {
			if reading.Quality(v) == reading.Bad {
				out[r.Channel.Line]++
			}
		}
	}
	return out, nil
}
