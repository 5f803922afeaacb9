package watch

import "github.com/prometheus/client_golang/prometheus"

type metrics struct {
	samples  *prometheus.CounterVec
	unusable *prometheus.CounterVec
	changes  *prometheus.CounterVec
	position *prometheus.GaugeVec
	blocks   prometheus.Histogram
	alarms   prometheus.Histogram
	setAside *prometheus.CounterVec
}

// delayBuckets answer whether an alarm keeps its promise: 100 ms from journal
// to alarm at full rate, and whole seconds where a contract counts them.
func delayBuckets() []float64 {
	return []float64{0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 3, 5, 10, 30}
}

func newMetrics(r prometheus.Registerer) *metrics {
	m := &metrics{
		samples: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "hawser_watch_samples_total", Help: "Readings put through the detectors."}, []string{"berth"}),
		unusable: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "hawser_watch_unused_samples_total", Help: "Readings the detectors did not use, by reason."}, []string{"berth", "reason"}),
		changes: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "hawser_watch_changes_total", Help: "Conditions raised and cleared."}, []string{"berth", "condition", "state"}),
		position: prometheus.NewGaugeVec(prometheus.GaugeOpts{
			Name: "hawser_watch_journal_position", Help: "Journal position up to which a berth has been detected on."}, []string{"berth"}),
		blocks: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "hawser_watch_block_delay_seconds", Help: "From a batch entering the journal to its detection being done.", Buckets: delayBuckets()}),
		alarms: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "hawser_watch_alarm_delay_seconds", Help: "From a batch entering the journal to an alarm it raised being on record.", Buckets: delayBuckets()}),
		setAside: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "hawser_watch_unreadable_batches_total", Help: "Journal entries that could not be read and were passed over."}, []string{"berth"}),
	}
	r.MustRegister(m.samples, m.unusable, m.changes, m.position, m.blocks, m.alarms, m.setAside)
	return m
}
