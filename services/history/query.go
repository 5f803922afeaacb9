package history

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strconv"
	"strings"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/services/parameter"
)

// Store answers questions about what was.
type Store interface {
	Query(ctx context.Context, q store.Query) ([]store.Result, error)
}

// leastStep is the finest step that the store still has at a time, 0 for one that
// lets nothing go.
func leastStep(s Store, from time.Time) time.Duration {
	if s, ok := s.(interface {
		LeastStep(from time.Time) time.Duration
	}); ok {
		return s.LeastStep(from)
	}
	return 0
}

// Access says what the caller of a request may see. It finds the caller in the
// request's context.
type Access interface {
	// Sees reports whether the caller may see a berth, and since when.
	Sees(ctx context.Context, berth string) (since time.Time, ok bool)
}

// course is the answer for one channel, in columns.
type course struct {
	Channel string    `json:"channel"`
	Unit    string    `json:"unit"`
	StepMS  int64     `json:"step_ms,omitempty"` // without one, readings as they are
	TimeMS  []int64   `json:"time_ms"`           // Unix milliseconds, of the reading or the start of its step
	Value   []float64 `json:"value"`             // the reading, or the step's mean
	Min     []float64 `json:"min,omitempty"`
	Max     []float64 `json:"max,omitempty"`
	Std     []float64 `json:"std,omitempty"` // standard deviation of the step's readings
	Count   []int64   `json:"count,omitempty"`
}

// Handler serves GET ?berth=…&channel=…&from=…&to=…[&step=…|&points=…]: times
// in RFC 3339, step as a duration ("10s"), channel as in recordings ("7/tension"),
// or "tension" for every line's.
// points asks for a drawing: the store takes the finest step that gives no more.
// Without either the readings come as they are, as many as the store's bound allows. Where
// access is not nil they begin when what the caller may see does.
func Handler(s Store, access Access, log *slog.Logger) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		q, err := parseQuery(r.URL.RawQuery)
		if err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		q.ChooseStep(leastStep(s, q.From))
		if results, ok := ask(w, r, s, access, q, log); ok {
			answer(w, log.With("berth", q.Berth, "channel", q.Channel), results)
		}
	})
}

// askFor is how long a store may take: less than the half minute that an answer over HTTP
// may take, after which nobody would hear that there is none.
const askFor = 25 * time.Second

// ask asks the store for what the caller may see of a question. Where ok is false
// it has answered itself, with why.
func ask(w http.ResponseWriter, r *http.Request, s Store, access Access, q store.Query, log *slog.Logger) (results []store.Result, ok bool) {
	if access != nil {
		since, sees := access.Sees(r.Context(), q.Berth)
		if !sees {
			http.Error(w, "berth "+q.Berth+": not for this caller", http.StatusForbidden)
			return nil, false
		}
		if q = from(q, since); !q.From.Before(q.To) {
			return nil, true
		}
	}
	ctx, cancel := context.WithTimeout(r.Context(), askFor)
	defer cancel()
	results, err := s.Query(ctx, q)
	switch {
	case err == nil:
		return results, true
	case errors.Is(err, store.ErrBadQuery), errors.Is(err, store.ErrTooManyPoints):
		http.Error(w, err.Error(), http.StatusBadRequest)
	case r.Context().Err() == nil: // else nobody is there to answer
		log.Error("history not answered", "berth", q.Berth, "channel", q.Channel, "err", err)
		http.Error(w, "the store does not answer", http.StatusServiceUnavailable)
	}
	return nil, false
}

// from puts a question's beginning to since where it is before. The store takes
// the beginning down to a step's: the first step is one that is all after since.
func from(q store.Query, since time.Time) store.Query {
	if since.IsZero() {
		return q
	}
	step := max(q.Step.Nanoseconds(), 1)
	first := since.UnixNano()
	if over := first % step; over > 0 {
		first += step - over
	}
	if first > q.From.UnixNano() {
		q.From = time.Unix(0, first).UTC()
	}
	return q
}

func answer(w http.ResponseWriter, log *slog.Logger, results []store.Result) {
	body, err := json.Marshal(courses(results))
	if err != nil { // a value that is no number: no store is to have one
		log.Error("history not written", "err", err)
		http.Error(w, "the store gave a value that is no number", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	if _, err := w.Write(body); err != nil {
		log.Debug("history not sent", "err", err)
	}
}

func parseQuery(raw string) (q store.Query, err error) {
	v, err := parameter.Read(raw, "berth", "channel", "from", "to", "step", "points")
	if err != nil {
		return q, err
	}
	if q, err = spanOf(v, "berth", "channel", "from", "to"); err != nil {
		return q, err
	}
	if points := v.Get("points"); points != "" {
		if q.Points, err = strconv.Atoi(points); err != nil || q.Points < 3 || q.Points > store.DefaultMaxPoints {
			return q, fmt.Errorf("points: %q is no whole number from 3 to %d", points, store.DefaultMaxPoints)
		}
		if q.Step > 0 {
			return q, errors.New("points: given beside a step")
		}
	}
	return q, nil
}

// spanOf is the berth, channel, span and step asked for; some must be given.
func spanOf(v parameter.Values, needed ...string) (q store.Query, err error) {
	if err := v.Need(needed...); err != nil {
		return q, err
	}
	q.Berth = v.Get("berth")
	if channel := v.Get("channel"); channel != "" {
		if q.Channel, err = parseChannel(channel); err != nil {
			return q, fmt.Errorf("channel: %w", err)
		}
	}
	if q.From, err = v.Time("from"); err != nil {
		return q, err
	}
	if q.To, err = v.Time("to"); err != nil {
		return q, err
	}
	if step := v.Get("step"); step != "" {
		if q.Step, err = time.ParseDuration(step); err != nil || q.Step <= 0 {
			return q, fmt.Errorf("step: %q is no duration above zero such as 10s", step)
		}
	}
	return q, nil
}

// parseChannel reads a channel as recordings have it, or a line's kind by itself
// ("tension") for all lines.
func parseChannel(text string) (reading.Channel, error) {
	if !strings.Contains(text, "/") {
		if all, err := reading.ParseChannel("all/" + text); err == nil {
			all.Line = ""
			return all, nil
		}
	}
	return reading.ParseChannel(text)
}

func courses(results []store.Result) []course {
	out := make([]course, len(results))
	for i, r := range results {
		c := course{
			Channel: r.Channel.String(), Unit: r.Channel.Kind.Unit(),
			StepMS: r.Step.Milliseconds(), TimeMS: make([]int64, len(r.Time)),
			Value: r.Value, Min: r.Min, Max: r.Max, Std: r.Std, Count: r.Count,
		}
		for j, t := range r.Time {
			c.TimeMS[j] = time.Unix(0, t).UnixMilli()
		}
		out[i] = c
	}
	return out
}
