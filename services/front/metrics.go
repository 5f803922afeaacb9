package front

import "github.com/prometheus/client_golang/prometheus"

type metrics struct {
	calls    *prometheus.CounterVec // method is one of those registered
	requests *prometheus.CounterVec
	panics   *prometheus.CounterVec
	tooMany  *prometheus.CounterVec
}

func newMetrics(r prometheus.Registerer) *metrics {
	counter := func(name, help string, labels ...string) *prometheus.CounterVec {
		return prometheus.NewCounterVec(prometheus.CounterOpts{Name: name, Help: help}, labels)
	}
	m := &metrics{
		calls:    counter("hawser_front_grpc_calls_total", "gRPC calls that ended, by method and code.", "method", "code"),
		requests: counter("hawser_front_http_requests_total", "HTTP requests that ended, by status.", "code"),
		panics:   counter("hawser_front_panics_total", "Panics caught in a handler.", "kind"),
		tooMany:  counter("hawser_front_connections_closed_total", "Connections closed at once, for as many are open as there is room for.", "kind"),
	}
	m.panics.WithLabelValues("grpc")
	m.panics.WithLabelValues("http")
	r.MustRegister(m.calls, m.requests, m.panics, m.tooMany)
	return m
}
