package intake

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// metrics of the intake. The label berth is bounded by the berths that have a
// plan, the others by words of ours.
type metrics struct {
	batches, samples, bytes *prometheus.CounterVec
	odd                     *prometheus.CounterVec
	refusals, ended         *prometheus.CounterVec
	streams, inFlight       prometheus.Gauge
	age, receiptDelay       prometheus.Histogram
}

func newMetrics(r prometheus.Registerer) *metrics {
	counter := func(name, help string, labels ...string) *prometheus.CounterVec {
		return prometheus.NewCounterVec(prometheus.CounterOpts{Name: "hawser_intake_" + name + "_total", Help: help}, labels)
	}
	gauge := func(name, help string) prometheus.Gauge {
		return prometheus.NewGauge(prometheus.GaugeOpts{Name: "hawser_intake_" + name, Help: help})
	}
	histogram := func(name, help string, buckets ...float64) prometheus.Histogram {
		return prometheus.NewHistogram(prometheus.HistogramOpts{Name: "hawser_intake_" + name + "_seconds", Help: help, Buckets: buckets})
	}
	m := &metrics{
		batches:  counter("batches", "Batches handed to the journal.", "berth"),
		samples:  counter("samples", "Readings handed to the journal, those of refused columns left out.", "berth"),
		bytes:    counter("bytes", "Bytes of the batches handed to the journal.", "berth"),
		odd:      counter("oddities", "Readings taken though late, duplicate, out_of_order or bad, and batches that came again.", "berth", "kind"),
		refusals: counter("refusals", "Batches and columns of batches not taken.", "part", "reason"),
		ended:    counter("streams_ended", "Streams ended, by reason or gRPC code.", "reason"),
		streams:  gauge("streams", "Streams open."),
		inFlight: gauge("in_flight_batches", "Batches taken and not yet receipted or refused."),
		age: histogram("reading_age", "Age of a batch's newest reading when it arrives, by the server's clock.",
			.01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10, 30, 60),
		receiptDelay: histogram("receipt_delay", "Time from a batch's arrival until its receipt is sent.",
			.001, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10),
	}
	if r != nil {
		r.MustRegister(m.batches, m.samples, m.bytes, m.odd, m.refusals, m.ended, m.streams, m.inFlight, m.age, m.receiptDelay)
	}
	return m
}

// berthMetrics are those of one berth, looked up once.
type berthMetrics struct {
	batches, samples, bytes                           prometheus.Counter
	late, duplicate, outOfOrder, bad, repeatedBatches prometheus.Counter
	age                                               prometheus.Histogram
}

func (m *metrics) berth(name string) berthMetrics {
	return berthMetrics{
		batches: m.batches.WithLabelValues(name), samples: m.samples.WithLabelValues(name), bytes: m.bytes.WithLabelValues(name),
		late: m.odd.WithLabelValues(name, "late"), duplicate: m.odd.WithLabelValues(name, "duplicate"),
		outOfOrder: m.odd.WithLabelValues(name, "out_of_order"), bad: m.odd.WithLabelValues(name, "bad"),
		repeatedBatches: m.odd.WithLabelValues(name, "repeated_batch"),
		age:             m.age,
	}
}

// took counts a batch that the journal took.
func (m *berthMetrics) took(size int, v verdict, arrived time.Time) {
	m.batches.Inc()
	m.bytes.Add(float64(size))
	m.samples.Add(float64(v.samples))
	if v.newest > 0 {
		m.age.Observe(arrived.Sub(time.Unix(0, v.newest)).Seconds())
	}
	if v.odd != (oddities{}) {
		m.count(v.odd)
	}
}

func (m *berthMetrics) count(o oddities) {
	m.late.Add(float64(o.late))
	m.duplicate.Add(float64(o.duplicate))
	m.outOfOrder.Add(float64(o.outOfOrder))
	m.bad.Add(float64(o.bad))
	m.repeatedBatches.Add(float64(o.repeatedBatches))
}
