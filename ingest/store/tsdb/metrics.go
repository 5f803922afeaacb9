package tsdb

import (
	"errors"

	"github.com/prometheus/client_golang/prometheus"
)

// metrics are of one Store. Those about appends in general are the Pump's.
type metrics struct {
	late, repeated, damaged, rolled, kept prometheus.Counter

	all []prometheus.Collector
}

func newMetrics(s *Store) *metrics {
	m := &metrics{
		late: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "hawser_store_late_readings_total",
			Help: "Readings stored behind a newer one of their channel.",
		}),
		repeated: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "hawser_store_repeated_readings_total",
			Help: "Readings that the store had already.",
		}),
		rolled: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "hawser_store_rolled_spans_total",
			Help: "Spans of ten minutes of a berth reckoned from their readings, those reckoned anew included.",
		}),
		kept: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "hawser_store_kept_rolls_total",
			Help: "Rolls left as they were because some of their readings have gone since.",
		}),
		damaged: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "hawser_store_damaged_parts_total",
			Help: "Blocks, chunks, logs and pages of rolls found damaged, at the start or by a query.",
		}),
	}
	gauge := func(name, help string, value func() float64) prometheus.Collector {
		return prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: name, Help: help}, value)
	}
	m.all = []prometheus.Collector{
		m.late, m.repeated, m.damaged, m.rolled, m.kept,
		gauge("hawser_store_series", "Series with readings of the last hours.",
			func() float64 { return float64(s.db.Head().NumSeries()) }),
		gauge("hawser_store_log_bytes", "Size of the log of what is in no block yet.",
			func() float64 { return float64(s.db.Head().Size()) }),
		gauge("hawser_store_rolls_bytes", "Size of the file of rolls.", s.rollsBytes),
		gauge("hawser_store_waiting_spans", "Spans of ten minutes of a berth that wait to be rolled up.",
			func() float64 { return float64(s.pending.Len()) }),
		gauge("hawser_store_block_bytes", "Size of the blocks.", func() float64 {
			var sum int64
			for _, b := range s.db.Blocks() {
				sum += b.Size()
			}
			return float64(sum)
		}),
		prometheus.NewCounterFunc(prometheus.CounterOpts{
			Name: "hawser_store_compaction_failures_total",
			Help: "Times that the log could not be turned into a block, or blocks into one.",
		}, func() float64 { return internal(s.internals, "prometheus_tsdb_compactions_failed_total") }),
	}
	return m
}

// register puts all metrics in place, or none.
func (m *metrics) register(r prometheus.Registerer) error {
	if r == nil {
		return nil
	}
	for i, c := range m.all {
		if err := r.Register(c); err != nil {
			for _, done := range m.all[:i] {
				r.Unregister(done)
			}
			return errors.Join(errors.New("store metrics"), err)
		}
	}
	return nil
}

// unregister takes the metrics away: they read a database that is about to close.
func (m *metrics) unregister(r prometheus.Registerer) {
	if r == nil {
		return
	}
	for _, c := range m.all {
		r.Unregister(c)
	}
}

// internal reads one of the database's own counters, which have names of another
// house and are not shown.
func internal(g prometheus.Gatherer, name string) float64 {
	families, err := g.Gather()
	if err != nil {
		return 0
	}
	for _, f := range families {
		if f.GetName() == name && len(f.GetMetric()) == 1 {
			return f.GetMetric()[0].GetCounter().GetValue()
		}
	}
	return 0
}
