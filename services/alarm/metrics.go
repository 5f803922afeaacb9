package alarm

import (
	"github.com/prometheus/client_golang/prometheus"

	"hawser/detect"
)

// Why a change was ignored.
const (
	repeated      = "repeated"
	alreadyActive = "already-active"
	notActive     = "not-active"
)

type metrics struct {
	raised, cleared *prometheus.CounterVec
	acknowledged    prometheus.Counter
	ignored         *prometheus.CounterVec
	append          prometheus.Histogram
	appendErrors    prometheus.Counter
	unreadable      prometheus.Counter
	watchers        prometheus.Gauge
	rereads         prometheus.Counter

	registerer prometheus.Registerer
	all        []prometheus.Collector
}

func newMetrics(r prometheus.Registerer, l *Log) *metrics {
	counter := func(name, help string) prometheus.Counter {
		return prometheus.NewCounter(prometheus.CounterOpts{Name: name, Help: help})
	}
	byLabel := func(name, help, label string) *prometheus.CounterVec {
		return prometheus.NewCounterVec(prometheus.CounterOpts{Name: name, Help: help}, []string{label})
	}
	m := &metrics{
		raised:       byLabel("hawser_alarm_raised_total", "Alarms raised.", "condition"),
		cleared:      byLabel("hawser_alarm_cleared_total", "Alarms cleared.", "condition"),
		acknowledged: counter("hawser_alarm_acknowledged_total", "Alarms acknowledged by a person."),
		ignored:      byLabel("hawser_alarm_ignored_changes_total", "Changes that changed no alarm, by reason.", "reason"),
		append: prometheus.NewHistogram(prometheus.HistogramOpts{Name: "hawser_alarm_append_seconds",
			Help: "Time for a record to be kept.", Buckets: []float64{0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10}}),
		appendErrors: counter("hawser_alarm_append_errors_total", "Records the log did not say it kept."),
		unreadable:   counter("hawser_alarm_unreadable_records_total", "Records passed over because they could not be read."),
		watchers: prometheus.NewGauge(prometheus.GaugeOpts{Name: "hawser_alarm_watchers",
			Help: "Watchers of the alarm log."}),
		rereads:    counter("hawser_alarm_watch_rereads_total", "Pages a watcher read from the log because memory no longer had them."),
		registerer: r,
	}
	for _, reason := range []string{repeated, alreadyActive, notActive} {
		m.ignored.WithLabelValues(reason)
	}
	m.all = []prometheus.Collector{m.raised, m.cleared, m.acknowledged, m.ignored, m.append, m.appendErrors, m.unreadable,
		m.watchers, m.rereads, activeCollector{l}}
	r.MustRegister(m.all...)
	return m
}

func (m *metrics) unregister() {
	for _, c := range m.all {
		m.registerer.Unregister(c)
	}
}

func (m *metrics) ignore(reason string) { m.ignored.WithLabelValues(reason).Inc() }

func (m *metrics) count(r *Record) {
	switch r.Transition {
	case Raised:
		m.raised.WithLabelValues(r.Condition).Inc()
	case Cleared:
		m.cleared.WithLabelValues(r.Condition).Inc()
	case Acknowledged:
		m.acknowledged.Inc()
	}
}

// activeCollector counts the active alarms when asked.
type activeCollector struct{ l *Log }

func activeDesc() *prometheus.Desc {
	return prometheus.NewDesc("hawser_alarm_active", "Alarms raised and not cleared, less those suppressed by design.", []string{"berth", "condition", "priority"}, nil)
}

func (c activeCollector) Describe(ch chan<- *prometheus.Desc) { ch <- activeDesc() }

func (c activeCollector) Collect(ch chan<- prometheus.Metric) {
	type labels struct {
		berth, condition string
		priority         detect.Priority
	}
	counts := map[labels]int{}
	c.l.mu.RLock()
	for _, s := range c.l.fold.active {
		if s.Suppressed != nil {
			continue
		}
		counts[labels{s.Berth, s.Condition, s.Priority}]++
	}
	c.l.mu.RUnlock()
	for k, n := range counts {
		ch <- prometheus.MustNewConstMetric(activeDesc(), prometheus.GaugeValue, float64(n), k.berth, k.condition, k.priority.String())
	}
}
