package journal

import "github.com/prometheus/client_golang/prometheus"

type metrics struct {
	appended      prometheus.Counter
	appendedBytes prometheus.Counter
	repeated      prometheus.Counter
	failedAppends prometheus.Counter
	receipt       prometheus.Histogram
	inFlight      prometheus.Gauge
	inFlightBytes prometheus.Gauge
	sync          prometheus.Histogram
	syncFailures  prometheus.Counter
	failed        prometheus.Gauge
	storedBytes   prometheus.Gauge
	first         prometheus.Gauge
	last          prometheus.Gauge
	free          prometheus.Gauge
	restarts      prometheus.Counter
	lag           *prometheus.GaugeVec
	unreadBytes   *prometheus.GaugeVec
	unreadAge     *prometheus.GaugeVec
	skipped       *prometheus.CounterVec
	lostEntries   prometheus.Gauge

	all []prometheus.Collector
	reg prometheus.Registerer
}

func newMetrics(reg prometheus.Registerer) (*metrics, error) {
	m := &metrics{reg: reg}
	name := func(s string) string { return "hawser_journal_" + s }
	counter := func(n, help string) prometheus.Counter {
		c := prometheus.NewCounter(prometheus.CounterOpts{Name: name(n), Help: help})
		m.all = append(m.all, c)
		return c
	}
	gauge := func(n, help string) prometheus.Gauge {
		g := prometheus.NewGauge(prometheus.GaugeOpts{Name: name(n), Help: help})
		m.all = append(m.all, g)
		return g
	}
	histogram := func(n, help string) prometheus.Histogram {
		h := prometheus.NewHistogram(prometheus.HistogramOpts{Name: name(n), Help: help,
			Buckets: []float64{.001, .002, .005, .01, .02, .05, .1, .2, .5, 1, 2, 5, 10}})
		m.all = append(m.all, h)
		return h
	}
	byReader := func(n, help string) *prometheus.GaugeVec {
		g := prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: name(n), Help: help}, []string{"reader"})
		m.all = append(m.all, g)
		return g
	}
	m.appended = counter("appended_batches_total", "Entries stored as promised.")
	m.appendedBytes = counter("appended_bytes_total", "Payload bytes of entries stored as promised.")
	m.repeated = counter("repeated_batches_total", "Entries not stored again: at or below their source's last sequence.")
	m.failedAppends = counter("failed_batches_total", "Entries, documents and records that could not be stored as promised.")
	m.receipt = histogram("append_seconds", "Time from Append to the entry being stored as promised.")
	m.inFlight = gauge("in_flight_batches", "Messages handed to the server and not yet stored as promised.")
	m.inFlightBytes = gauge("in_flight_bytes", "Payload bytes handed to the server and not yet stored as promised.")
	m.sync = histogram("sync_seconds", "Time of one group sync.")
	m.syncFailures = counter("sync_failures_total", "Group syncs that failed; the journal takes nothing after one.")
	m.failed = gauge("failed", "1 when the journal takes nothing more until it is opened anew.")
	m.storedBytes = gauge("stored_bytes", "Telemetry held.")
	m.first = gauge("first_position", "Oldest position held.")
	m.last = gauge("last_position", "Newest position held.")
	m.free = gauge("free_ratio", "Share of the journal's disk that is free.")
	m.restarts = counter("scan_restarts_total", "Times a server-side consumer was lost and made anew.")
	m.lag = byReader("reader_lag_batches", "Positions between a reader and the newest.")
	m.unreadBytes = byReader("unread_bytes", "Estimate of what a reader has not read, all berths.")
	m.unreadAge = byReader("unread_age_seconds", "Age of the oldest entry a reader has not finished with.")
	m.skipped = prometheus.NewCounterVec(prometheus.CounterOpts{Name: name("skipped_batches_total"),
		Help: "Positions a reader could not be given, by why: dropped by the limits before it came, or damaged."}, []string{"reader", "why"})
	m.all = append(m.all, m.skipped)
	m.lostEntries = gauge("recovery_lost_batches", "Entries found missing when the journal was opened.")

	if reg == nil {
		return m, nil
	}
	for i, c := range m.all {
		if err := reg.Register(c); err != nil {
			m.all = m.all[:i]
			m.unregister()
			return nil, err
		}
	}
	return m, nil
}

func (m *metrics) unregister() {
	if m.reg == nil {
		return
	}
	for _, c := range m.all {
		m.reg.Unregister(c)
	}
}
