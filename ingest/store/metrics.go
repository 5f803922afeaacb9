package store

import (
	"github.com/prometheus/client_golang/prometheus"
)

// metrics are of one Pump.
type metrics struct {
	stored  prometheus.Counter
	refused [reasons]prometheus.Counter
	groups  prometheus.Counter
	retries prometheus.Counter
	down    prometheus.Gauge
	seconds prometheus.Histogram
}

func newMetrics(r prometheus.Registerer, p *Pump) *metrics {
	m := &metrics{
		stored: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "hawser_store_readings_total",
			Help: "Readings given to the store and taken by it, repeats of what it held included.",
		}),
		groups: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "hawser_store_groups_total",
			Help: "Groups of blocks appended to the store.",
		}),
		retries: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "hawser_store_retries_total",
			Help: "Appends that had to be tried again.",
		}),
		down: prometheus.NewGauge(prometheus.GaugeOpts{
			Name: "hawser_store_down",
			Help: "1 while the store does not take readings and is tried again, else 0.",
		}),
		seconds: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "hawser_store_append_seconds",
			Help: "Time to append one group, tries that came to nothing included.",
			// 1 s is how old a group may get before it is sent: an edge there tells
			// whether the store keeps up.
			Buckets: []float64{.001, .003, .01, .03, .1, .3, 1, 3, 10, 30},
		}),
	}
	refused := prometheus.NewCounterVec(prometheus.CounterOpts{
		Name: "hawser_store_refused_readings_total",
		Help: "Readings that are not stored and never will be, by reason.",
	}, []string{"reason"})
	for _, reason := range Reasons() {
		m.refused[reason] = refused.WithLabelValues(reason.String())
	}
	waitingBytes := prometheus.NewGaugeFunc(prometheus.GaugeOpts{
		Name: "hawser_store_waiting_bytes",
		Help: "Memory of the readings taken from the journal and not yet stored.",
	}, func() float64 { bytes, _ := p.waiting(); return float64(bytes) })
	waitingSeconds := prometheus.NewGaugeFunc(prometheus.GaugeOpts{
		Name: "hawser_store_waiting_seconds",
		Help: "How long the oldest reading taken from the journal and not yet stored has waited.",
	}, func() float64 { _, age := p.waiting(); return age.Seconds() })
	if r != nil {
		r.MustRegister(m.stored, refused, m.groups, m.retries, m.down, m.seconds, waitingBytes, waitingSeconds)
	}
	return m
}
