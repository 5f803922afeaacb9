package standby

import "github.com/prometheus/client_golang/prometheus"

type metrics struct {
	unkept prometheus.Counter
	all    []prometheus.Collector
	reg    prometheus.Registerer
}

func newMetrics(reg prometheus.Registerer, j *Journal) *metrics {
	m := &metrics{reg: reg}
	m.unkept = prometheus.NewCounter(prometheus.CounterOpts{Name: "hawser_journal_unkept_batches_total",
		Help: "Batches that were watched and not recorded, for the journal's disk took nothing."})
	state := prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: "hawser_journal_unkept",
		Help: "1 while nothing is recorded: what comes is watched from memory."}, func() float64 {
		if j.State().Since.IsZero() {
			return 0
		}
		return 1
	})
	held := prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: "hawser_journal_memory_bytes",
		Help: "Memory of batches that are watched and not recorded."}, func() float64 {
		st := j.now()
		if st.memory == nil {
			return 0
		}
		return float64(st.memory.held())
	})
	m.all = []prometheus.Collector{m.unkept, state, held}
	if reg != nil {
		reg.MustRegister(m.all...)
	}
	return m
}

func (m *metrics) unregister() {
	if m.reg == nil {
		return
	}
	for _, c := range m.all {
		m.reg.Unregister(c)
	}
}
