package tsdb

import (
	"context"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/prometheus/common/model"
	"github.com/prometheus/prometheus/model/labels"
	"github.com/prometheus/prometheus/storage"
	"github.com/prometheus/prometheus/util/annotations"

	"hawser/detect/reading"
	"hawser/ingest/store"
)

// Label names of metrics, beside berth and line.
const labelGroup = "group"

// MetricOptions say how the store looks as metrics.
type MetricOptions struct {
	// Sees reports whether the caller of a query may see a berth, and since when; nil
	// lets everybody see all.
	Sees func(ctx context.Context, berth string) (since time.Time, ok bool)
	// Group is the group of a berth's line by the plan in force, "" where it is not
	// known; nil knows none.
	Group func(berth, line string) string
}

// Queryable is the store as metrics (see Metrics) with labels berth, line and, where
// known, group, for a query engine. A reading that is no number ends its series
// there, as a stale marker does, so that an instant after it does not see the number
// before.
func (s *Store) Queryable(o MetricOptions) storage.Queryable {
	if o.Sees == nil {
		o.Sees = func(context.Context, string) (time.Time, bool) { return time.Time{}, true }
	}
	if o.Group == nil {
		o.Group = func(string, string) string { return "" }
	}
	return storage.QueryableFunc(func(mint, maxt int64) (storage.Querier, error) {
		s.lifetime.RLock()
		if s.closed {
			s.lifetime.RUnlock()
			return nil, store.ErrClosed
		}
		q, err := s.db.Querier(mint, maxt)
		if err != nil {
			s.lifetime.RUnlock()
			return nil, err
		}
		return &metricQuerier{store: s, o: o, q: q, mint: mint, maxt: maxt}, nil
	})
}

// metricQuerier reads metrics in [mint, maxt], Unix ms.
type metricQuerier struct {
	store      *Store
	o          MetricOptions
	q          storage.Querier
	mint, maxt int64
	closed     bool
}

// Close lets the store be closed.
func (m *metricQuerier) Close() error {
	if m.closed {
		return nil
	}
	m.closed = true
	defer m.store.lifetime.RUnlock()
	return m.q.Close()
}

// Select gives the series that the caller may see.
func (m *metricQuerier) Select(ctx context.Context, _ bool, hints *storage.SelectHints, matchers ...*labels.Matcher) storage.SeriesSet {
	lo, hi := m.mint, m.maxt
	if hints != nil {
		lo, hi = max(lo, hints.Start), min(hi, hints.End)
	}
	s := selection{ctx: ctx, querier: m, matchers: matchers, lo: lo, hi: hi, berths: make(map[string]sight)}
	if err := s.find(); err != nil {
		return storage.ErrSeriesSet(err)
	}
	slices.SortFunc(s.found, func(a, b storage.Series) int { return labels.Compare(a.Labels(), b.Labels()) })
	return &foundSeries{list: s.found, at: -1}
}

// LabelNames gives the names of the labels of the series that match.
func (m *metricQuerier) LabelNames(ctx context.Context, _ *storage.LabelHints, matchers ...*labels.Matcher) ([]string, annotations.Annotations, error) {
	names := make(map[string]bool)
	err := m.each(ctx, matchers, func(l labels.Labels) {
		l.Range(func(l labels.Label) { names[l.Name] = true })
	})
	return sorted(names), nil, err
}

// LabelValues gives the values that a label has in the series that match.
func (m *metricQuerier) LabelValues(ctx context.Context, name string, _ *storage.LabelHints, matchers ...*labels.Matcher) ([]string, annotations.Annotations, error) {
	values := make(map[string]bool)
	err := m.each(ctx, matchers, func(l labels.Labels) {
		if v := l.Get(name); v != "" {
			values[v] = true
		}
	})
	return sorted(values), nil, err
}

func (m *metricQuerier) each(ctx context.Context, matchers []*labels.Matcher, fn func(labels.Labels)) error {
	set := m.Select(ctx, false, nil, matchers...)
	for set.Next() {
		fn(set.At().Labels())
	}
	return set.Err()
}

func sorted(set map[string]bool) []string {
	out := make([]string, 0, len(set))
	for v := range set {
		out = append(out, v)
	}
	slices.Sort(out)
	return out
}

// sight is what the caller may see of a berth.
type sight struct {
	since int64 // Unix ms
	ok    bool
}

// selection gathers the series of one Select.
type selection struct {
	ctx      context.Context // of the one Select
	querier  *metricQuerier
	matchers []*labels.Matcher
	lo, hi   int64
	berths   map[string]sight
	found    []storage.Series
}

func (s *selection) find() error {
	byKind := make(map[reading.Kind]Metric)
	var rolled []Metric
	for _, metric := range Metrics() {
		switch {
		case !s.named(metric.Name):
		case metric.rolled:
			rolled = append(rolled, metric)
		default:
			byKind[metric.kind] = metric
		}
	}
	if len(byKind) > 0 {
		if err := s.readings(byKind); err != nil {
			return err
		}
	}
	if len(rolled) > 0 {
		return s.rolls(rolled)
	}
	return nil
}

// named reports whether the matchers let a metric's name pass.
func (s *selection) named(name string) bool {
	return !slices.ContainsFunc(s.matchers, func(m *labels.Matcher) bool { return m.Name == model.MetricNameLabel && !m.Matches(name) })
}

// labelled gives the labels of a channel's metric, and since when the caller may see
// it; ok is false where the matchers or the caller's rights leave it out.
func (s *selection) labelled(metric, berth string, c reading.Channel) (l labels.Labels, since int64, ok bool) {
	seen, known := s.berths[berth]
	if !known {
		since, ok := s.querier.o.Sees(s.ctx, berth)
		if seen.ok = ok; !since.IsZero() {
			seen.since = (since.UnixNano() + int64(time.Millisecond) - 1) / int64(time.Millisecond)
		} else {
			seen.since = math.MinInt64
		}
		s.berths[berth] = seen
	}
	if !seen.ok {
		return l, 0, false
	}
	b := labels.NewBuilder(labels.EmptyLabels())
	b.Set(model.MetricNameLabel, metric).Set(labelBerth, berth)
	if c.Line != "" {
		b.Set(labelLine, c.Line).Set(labelGroup, s.querier.o.Group(berth, c.Line))
	}
	l = b.Labels()
	for _, m := range s.matchers {
		if !m.Matches(l.Get(m.Name)) {
			return l, 0, false
		}
	}
	return l, seen.since, true
}

// parts are the stored series of one channel.
type parts struct {
	labels   labels.Labels
	since    int64
	factor   float64
	readings []stored
	quality  []storage.Series
}

type stored struct {
	series   storage.Series
	decimals int8
}

// readings finds the series of readings as they are.
func (s *selection) readings(byKind map[reading.Kind]Metric) error {
	kinds := make([]string, 0, len(byKind))
	for kind := range byKind {
		kinds = append(kinds, kind.String())
	}
	ms := []*labels.Matcher{
		labels.MustNewMatcher(labels.MatchRegexp, model.MetricNameLabel, nameReading+"|"+nameQuality),
		labels.MustNewMatcher(labels.MatchRegexp, labelKind, strings.Join(kinds, "|")),
	}
	for _, m := range s.matchers {
		if m.Name == labelBerth || m.Name == labelLine {
			ms = append(ms, m)
		}
	}
	channels := make(map[string]*parts) // by berth and channel
	set := s.querier.q.Select(s.ctx, false, &storage.SelectHints{Start: s.lo, End: s.hi}, ms...)
	for set.Next() {
		series := set.At()
		k, decimals, ok := readLabels(series.Labels())
		metric, wanted := byKind[k.channel.Kind]
		if !ok || !wanted {
			continue
		}
		berth := series.Labels().Get(labelBerth)
		name := berth + "\x00" + k.channel.String()
		p := channels[name]
		if p == nil {
			p = &parts{factor: metric.factor}
			if p.labels, p.since, ok = s.labelled(metric.Name, berth, k.channel); !ok {
				continue
			}
			channels[name] = p
		}
		if k.quality {
			p.quality = append(p.quality, series)
		} else {
			p.readings = append(p.readings, stored{series, decimals})
		}
	}
	for _, p := range channels {
		if len(p.readings) > 0 {
			s.found = append(s.found, p.joined())
		}
	}
	return set.Err()
}

// foundSeries is a set of series at hand.
type foundSeries struct {
	list []storage.Series
	at   int
}

func (f *foundSeries) Next() bool                      { f.at++; return f.at < len(f.list) }
func (f *foundSeries) At() storage.Series              { return f.list[f.at] }
func (*foundSeries) Err() error                        { return nil }
func (*foundSeries) Warnings() annotations.Annotations { return nil }
