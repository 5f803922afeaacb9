package linebook

import "github.com/prometheus/client_golang/prometheus"

type metrics struct {
	position   prometheus.Gauge
	unplaced   prometheus.Counter
	restarts   prometheus.Counter
	keepErrors prometheus.Counter
}

func newMetrics(r prometheus.Registerer) *metrics {
	m := &metrics{
		position: prometheus.NewGauge(prometheus.GaugeOpts{
			Name: "hawser_linebook_journal_position", Help: "Journal position up to which line records have the readings."}),
		unplaced: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "hawser_linebook_unplaced_alarms_total", Help: "Alarms about a line of which it was not known any more whose it was."}),
		restarts: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "hawser_linebook_restarts_total", Help: "Times line records stopped on an error and were started again."}),
		keepErrors: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "hawser_linebook_keep_errors_total", Help: "Times line records could not be kept."}),
	}
	r.MustRegister(m.position, m.unplaced, m.restarts, m.keepErrors)
	return m
}
