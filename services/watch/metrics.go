package watch

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"hawser/detect"
	"hawser/detect/reading"
	"hawser/ingest/batch"
)

type metrics struct {
	samples    *prometheus.CounterVec
	unusable   *prometheus.CounterVec
	changes    *prometheus.CounterVec
	position   *prometheus.GaugeVec
	blocks     prometheus.Histogram
	alarms     prometheus.Histogram
	setAside   *prometheus.CounterVec
	noPlan     *prometheus.CounterVec
	restarts   *prometheus.CounterVec
	saveErrors *prometheus.CounterVec
}

// delayBuckets answer whether an alarm keeps its promise: 100 ms from journal
// to alarm at full rate, and whole seconds where conditions are due in seconds.
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
		noPlan: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "hawser_watch_unplanned_batches_total", Help: "Journal entries that were passed over because their plan is lost or damaged."}, []string{"berth"}),
		restarts: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "hawser_watch_restarts_total", Help: "Times the watch of a berth stopped on an error and was started again."}, []string{"berth"}),
		saveErrors: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "hawser_watch_snapshot_errors_total", Help: "Times the state of a berth could not be kept."}, []string{"berth"}),
	}
	r.MustRegister(m.samples, m.unusable, m.changes, m.position, m.blocks, m.alarms, m.setAside, m.noPlan, m.restarts, m.saveErrors)
	return m
}

// show has the counts of a berth's troubles at 0 from the start: of a series that
// begins at 1 no rule would see an increase.
func (m *metrics) show(berth string) {
	for _, c := range []*prometheus.CounterVec{m.setAside, m.noPlan, m.restarts, m.saveErrors} {
		c.WithLabelValues(berth)
	}
}

// count counts an entry that was taken. Changes that the alarm log has from
// before a restart are not counted again: their delay would be the outage's.
func (b *berthWatch) count(e *batch.Entry, block *reading.Block, changes []detect.Change) {
	delay := time.Since(e.Stored).Seconds()
	b.m.blocks.Observe(delay)
	b.m.samples.WithLabelValues(b.berth).Add(float64(block.Samples()))
	b.m.position.WithLabelValues(b.berth).Set(float64(e.Position))
	if e.Position > b.told {
		b.countChanges(changes, delay)
	}
	if now := b.unit.Oddities(); now != b.counted {
		b.countOddities(now, b.counted)
		b.counted = now
	}
}

func (b *berthWatch) countChanges(changes []detect.Change, delay float64) {
	for i := range changes {
		state := "cleared"
		if changes[i].Raised {
			state = "raised"
			b.m.alarms.Observe(delay)
		}
		b.m.changes.WithLabelValues(b.berth, changes[i].Condition.String(), state).Inc()
	}
}

func (b *berthWatch) countOddities(now, was detect.Oddities) {
	add := func(reason string, now, was uint64) {
		b.m.unusable.WithLabelValues(b.berth, reason).Add(float64(now - was))
	}
	add("late", now.Late, was.Late)
	add("duplicate", now.Duplicate, was.Duplicate)
	add("unknown", now.Unknown, was.Unknown)
	add("bad", now.Bad, was.Bad)
	add("overflow", now.Overflow, was.Overflow)
}
