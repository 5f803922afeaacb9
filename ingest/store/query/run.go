package query

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/prometheus/prometheus/model/labels"
	"github.com/prometheus/prometheus/promql"
	"github.com/prometheus/prometheus/promql/parser"
)

// maxPoints is the most steps of a range.
const maxPoints = 11_000

// queryData is the answer to a query.
type queryData struct {
	ResultType parser.ValueType `json:"resultType"`
	Result     parser.Value     `json:"result"`
}

func (a *API) query(r *http.Request, f *form) (any, []string, error) {
	at := f.time("time", a.o.Now())
	return a.run(r, f, func(ctx context.Context) (promql.Query, error) {
		return a.engine.NewInstantQuery(ctx, a.o.Source, nil, f.text("query"), at)
	})
}

func (a *API) queryRange(r *http.Request, f *form) (any, []string, error) {
	start, end, step := f.time("start", time.Time{}), f.time("end", time.Time{}), f.duration("step")
	switch {
	case f.err != nil:
	case start.IsZero() || end.IsZero():
		f.fail("start and end must be given")
	case end.Before(start):
		f.fail("end: is before start")
	case step < time.Millisecond:
		f.fail("step: must be given, and a millisecond or more")
	case end.Sub(start)/step > maxPoints:
		f.fail("step: %s gives over %d points of a series; take a longer one", step, maxPoints)
	}
	return a.run(r, f, func(ctx context.Context) (promql.Query, error) {
		return a.engine.NewRangeQuery(ctx, a.o.Source, nil, f.text("query"), start, end, step)
	})
}

// run makes a query and runs it when its turn has come.
func (a *API) run(r *http.Request, f *form, make func(context.Context) (promql.Query, error)) (any, []string, error) {
	timeout, limit := a.o.timeout, f.limit()
	if asked := f.duration("timeout"); asked > 0 {
		timeout = min(timeout, asked)
	}
	if f.err != nil {
		return nil, nil, f.err
	}
	ctx, cancel := context.WithTimeout(r.Context(), timeout)
	defer cancel()
	done, err := a.turn(ctx)
	if err != nil {
		return nil, nil, err
	}
	defer done()
	q, err := make(ctx)
	if err != nil {
		return nil, nil, badData{err}
	}
	result := q.Exec(ctx)
	if result.Err != nil {
		q.Close()
		return nil, nil, result.Err
	}
	warnings, infos := result.Warnings.AsStrings(f.text("query"), 10, 10)
	all := slices.Concat(warnings, infos)
	out, cut := limited(result.Value, limit)
	if cut {
		all = append(all, "there are more series than the limit")
	}
	// Its memory is used again after Close, so the answer is written before.
	text, err := marshal(queryData{out.Type(), out})
	q.Close()
	return text, all, err
}

// limited cuts an answer to so many series, 0 for all.
func limited(v parser.Value, limit int) (parser.Value, bool) {
	if limit > 0 {
		switch v := v.(type) {
		case promql.Vector:
			return v[:min(limit, len(v))], limit < len(v)
		case promql.Matrix:
			return v[:min(limit, len(v))], limit < len(v)
		}
	}
	return v, false
}

// selectors are the match[] of a request.
func (a *API) selectors(f *form, needed bool) [][]*labels.Matcher {
	var out [][]*labels.Matcher
	for _, text := range f.values["match[]"] {
		m, err := a.parser.ParseMetricSelector(text)
		if err != nil {
			f.fail("match[]: %v", err)
			return nil
		}
		out = append(out, m)
	}
	if needed && len(out) == 0 {
		f.fail("match[]: must be given")
	}
	return out
}

// each gives the labels of every series that one of the selectors picks, all where
// there is none, each once.
func (a *API) each(r *http.Request, f *form, selectors [][]*labels.Matcher, fn func(labels.Labels)) error {
	start, end := f.time("start", time.Unix(0, 0)), f.time("end", a.o.Now().Add(24*time.Hour))
	if f.err != nil {
		return f.err
	}
	ctx, cancel := context.WithTimeout(r.Context(), a.o.timeout)
	defer cancel()
	done, err := a.turn(ctx)
	if err != nil {
		return err
	}
	defer done()
	q, err := a.o.Source.Querier(start.UnixMilli(), end.UnixMilli())
	if err != nil {
		return err
	}
	if len(selectors) == 0 {
		selectors = [][]*labels.Matcher{nil}
	}
	seen := map[string]bool{}
	for _, m := range selectors {
		set := q.Select(ctx, true, nil, m...)
		for set.Next() {
			l := set.At().Labels()
			if key := l.String(); !seen[key] {
				seen[key] = true
				fn(l)
			}
		}
		err = errors.Join(err, set.Err())
	}
	return errors.Join(err, q.Close())
}

func (a *API) series(r *http.Request, f *form) (any, []string, error) {
	out, limit := []labels.Labels{}, f.limit()
	err := a.each(r, f, a.selectors(f, true), func(l labels.Labels) { out = append(out, l) })
	slices.SortFunc(out, labels.Compare)
	if limit > 0 && len(out) > limit {
		return out[:limit], []string{"there are more series than the limit"}, err
	}
	return out, nil, err
}

func (a *API) labels(r *http.Request, f *form) (any, []string, error) {
	return a.collect(r, f, func(l labels.Labels, note func(string)) {
		l.Range(func(l labels.Label) { note(l.Name) })
	})
}

func (a *API) labelValues(r *http.Request, f *form) (any, []string, error) {
	name := r.PathValue("name")
	return a.collect(r, f, func(l labels.Labels, note func(string)) {
		if v := l.Get(name); v != "" {
			note(v)
		}
	})
}

// collect gathers texts from the labels of series.
func (a *API) collect(r *http.Request, f *form, from func(l labels.Labels, note func(string))) (any, []string, error) {
	found, limit := map[string]bool{}, f.limit()
	err := a.each(r, f, a.selectors(f, false), func(l labels.Labels) {
		from(l, func(text string) { found[text] = true })
	})
	out := []string{}
	for text := range found {
		out = append(out, text)
	}
	slices.SortFunc(out, strings.Compare)
	if limit > 0 && len(out) > limit {
		return out[:limit], []string{"there are more than the limit"}, err
	}
	return out, nil, err
}
