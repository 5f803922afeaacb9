package deliver

import "github.com/prometheus/client_golang/prometheus"

type metrics struct {
	sent, failures, refused *prometheus.CounterVec
	down                    *prometheus.GaugeVec
	delay                   *prometheus.HistogramVec
}

func newMetrics(r prometheus.Registerer) *metrics {
	counter := func(name, help string) *prometheus.CounterVec {
		return prometheus.NewCounterVec(prometheus.CounterOpts{Name: name, Help: help}, []string{"destination"})
	}
	m := &metrics{
		sent:     counter("hawser_delivery_sent_total", "Messages a destination has taken."),
		failures: counter("hawser_delivery_failures_total", "Tries that failed and are made again."),
		refused:  counter("hawser_delivery_refused_total", "Messages a destination will not take as they are, passed over."),
		down: prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "hawser_delivery_failing",
			Help: "1 while a destination has been out of reach too long."}, []string{"destination"}),
		delay: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "hawser_delivery_delay_seconds",
			Help:    "Time from a change's record in the alarm log to a destination having it.",
			Buckets: []float64{0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 60, 600, 3600}}, []string{"destination"}),
	}
	r.MustRegister(m.sent, m.failures, m.refused, m.down, m.delay)
	return m
}

// start makes a destination's series, so that a rate can be taken from the first.
func (m *metrics) start(name string) {
	m.sent.WithLabelValues(name)
	m.failures.WithLabelValues(name)
	m.refused.WithLabelValues(name)
	m.down.WithLabelValues(name)
	m.delay.WithLabelValues(name)
}

func (m *metrics) failing(name string, yes bool) {
	v := 0.0
	if yes {
		v = 1
	}
	m.down.WithLabelValues(name).Set(v)
}
