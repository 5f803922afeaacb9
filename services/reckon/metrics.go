package reckon

import (
	"github.com/prometheus/client_golang/prometheus"

	"hawser/detect/assess"
)

// metrics are what is told of the reckoning. Labels are bounded by the plans.
type metrics struct {
	round prometheus.Histogram
	worst *prometheus.GaugeVec
	asked prometheus.Histogram
}

func newMetrics(r prometheus.Registerer) *metrics {
	m := &metrics{
		round: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "hawser_reckon_round_seconds", Help: "Time to find what follows the loss of each line, all berths; a round is due every second.",
			Buckets: []float64{0.001, 0.005, 0.02, 0.05, 0.15, 0.5, 1},
		}),
		worst: prometheus.NewGaugeVec(prometheus.GaugeOpts{
			Name: "hawser_berth_line_loss_working_load_ratio",
			Help: "Largest load after the loss of any one line, as a share of its working load limit; over 1 the loss of a line brings another to its limit.",
		}, []string{"berth"}),
		asked: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "hawser_reckon_answer_seconds", Help: "Time to answer a question about a mooring, without waiting for others.",
			Buckets: []float64{0.01, 0.05, 0.15, 0.5, 1, 3},
		}),
	}
	r.MustRegister(m.round, m.worst, m.asked)
	return m
}

// tell sets the gauge of a berth.
func (m *metrics) tell(name string, mooring *assess.Mooring, losses []assess.Loss) {
	most := 0.0
	for k := range losses {
		for i, kN := range losses[k].First.TensionKN {
			most = max(most, kN/mooring.Plan().WorkingLoadKN(i))
		}
	}
	m.worst.WithLabelValues(name).Set(most)
}

func (m *metrics) forget(name string) { m.worst.DeleteLabelValues(name) }
