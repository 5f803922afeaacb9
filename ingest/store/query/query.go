// Package query answers Prometheus's query language over a store that looks like
// metrics, in the form of Prometheus's HTTP API, so that viewers, notebooks and
// promtool can attach to it. It stores nothing and has no rules, targets or alerts.
// Invariant: an answer has nothing of a berth that the caller does not see, nor of
// before they saw it; the store sees to that by the request's context.
//
//	GET or POST  /api/v1/query         query, time, timeout, limit
//	GET or POST  /api/v1/query_range   query, start, end, step, timeout, limit
//	GET or POST  /api/v1/series        match[], start, end, limit
//	GET or POST  /api/v1/labels        match[], start, end, limit
//	GET          /api/v1/label/{name}/values
//	GET          /api/v1/metadata      metric, limit
//	GET          /api/v1/status/buildinfo
//
// What a query may cost is bounded: its samples in memory, its time, how many run
// at once, and the points of a range.
package query

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"net/http"
	"time"

	"github.com/prometheus/prometheus/promql"
	"github.com/prometheus/prometheus/promql/parser"
	"github.com/prometheus/prometheus/storage"
)

// Metadata is what is to be told of a metric; its type is always gauge.
type Metadata struct{ Name, Unit, Help string }

// Options are the settings of an API. Source and Log are needed.
type Options struct {
	Source   storage.Queryable
	Metadata []Metadata
	// Now is the clock for queries that give no time; nil is time.Now.
	Now func() time.Time
	Log *slog.Logger

	// Tests set these.
	maxSamples int
	timeout    time.Duration
}

const (
	maxSamples = 5_000_000 // that a query has in memory, 80 MB
	timeout    = 25 * time.Second
)

// concurrent is how many queries run at once; others wait their turn, within their own
// time.
const concurrent = 4

// API is the handlers. Safe for concurrent use.
type API struct {
	o      Options
	engine *promql.Engine
	parser parser.Parser
	turns  chan struct{}
}

// lookback is how old the newest sample of a series may be to count at an instant.
const lookback = 5 * time.Minute

// New makes an API; Close ends it.
func New(o Options) (*API, error) {
	if o.Source == nil || o.Log == nil {
		return nil, errors.New("query: Source and Log are needed")
	}
	o.maxSamples = cmp.Or(o.maxSamples, maxSamples)
	o.timeout = cmp.Or(o.timeout, timeout)
	if o.Now == nil {
		o.Now = time.Now
	}
	p := parser.NewParser(parser.Options{})
	return &API{
		o: o, parser: p, turns: make(chan struct{}, concurrent),
		engine: promql.NewEngine(promql.EngineOpts{
			Logger: o.Log, MaxSamples: o.maxSamples, Timeout: o.timeout, LookbackDelta: lookback,
			NoStepSubqueryIntervalFn: func(int64) int64 { return time.Minute.Milliseconds() },
			EnableAtModifier:         true, EnableNegativeOffset: true, Parser: p,
		}),
	}, nil
}

// Close ends the engine.
func (a *API) Close() error { return a.engine.Close() }

// Routes are the handlers by the pattern of http.ServeMux.
func (a *API) Routes() map[string]http.Handler {
	return map[string]http.Handler{
		"GET /api/v1/query":               a.handler(a.query),
		"POST /api/v1/query":              a.handler(a.query),
		"GET /api/v1/query_range":         a.handler(a.queryRange),
		"POST /api/v1/query_range":        a.handler(a.queryRange),
		"GET /api/v1/series":              a.handler(a.series),
		"POST /api/v1/series":             a.handler(a.series),
		"GET /api/v1/labels":              a.handler(a.labels),
		"POST /api/v1/labels":             a.handler(a.labels),
		"GET /api/v1/label/{name}/values": a.handler(a.labelValues),
		"GET /api/v1/metadata":            a.handler(a.metadata),
		"GET /api/v1/status/buildinfo":    a.handler(a.buildInfo),
	}
}

// turn waits until a query may run; done must be called after it.
func (a *API) turn(ctx context.Context) (done func(), err error) {
	select {
	case a.turns <- struct{}{}:
		return func() { <-a.turns }, nil
	case <-ctx.Done():
		return nil, promql.ErrQueryTimeout("waiting for other queries to end")
	}
}
