package access

import "github.com/prometheus/client_golang/prometheus"

// metrics has no caller for a label: there is no bound on them.
type metrics struct {
	allowed prometheus.Counter
	refused *prometheus.CounterVec
	reloads *prometheus.CounterVec
	lost    prometheus.Counter
}

func newMetrics(r prometheus.Registerer, g *Guard) *metrics {
	m := &metrics{
		allowed: prometheus.NewCounter(prometheus.CounterOpts{Name: "hawser_access_allowed_total",
			Help: "Calls that were let in, but for those open to all."}),
		refused: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "hawser_access_refused_total",
			Help: "Calls that were not let in, by why."}, []string{"why"}),
		reloads: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "hawser_access_reloads_total",
			Help: "Changed files taken up (ok) or found wrong and left (wrong)."}, []string{"outcome"}),
		lost: prometheus.NewCounter(prometheus.CounterOpts{Name: "hawser_access_audit_lost_total",
			Help: "Lines of the audit log that could not be written."}),
	}
	expires := prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: "hawser_access_certificate_expiry_timestamp_seconds",
		Help: "When the server's certificate expires."},
		func() float64 { return float64(g.papers.Load().cert.Leaf.NotAfter.Unix()) })
	sessions := prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: "hawser_access_sessions",
		Help: "Browsers that are signed in."}, func() float64 { return float64(g.sessions.count()) })
	for _, w := range []why{notSignedIn, notAllowed, tooMuch, unfit, notNow} {
		m.refused.WithLabelValues(string(w))
	}
	m.reloads.WithLabelValues("ok")
	m.reloads.WithLabelValues("wrong")
	r.MustRegister(m.allowed, m.refused, m.reloads, m.lost, expires, sessions)
	return m
}
