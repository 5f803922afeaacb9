package waittest

import (
	"slices"
	"testing"

	"github.com/prometheus/client_golang/prometheus"
)

// Metric is what a counter or gauge stands at, summed over those of its series that
// have all the label values. That there is none of them ends the test.
func Metric(t testing.TB, g prometheus.Gatherer, name string, labels ...string) float64 {
	t.Helper()
	families, err := g.Gather()
	if err != nil {
		t.Fatal(err)
	}
	sum, found := 0.0, false
	for _, f := range families {
		if f.GetName() != name {
			continue
		}
		for _, m := range f.GetMetric() {
			var values []string
			for _, l := range m.GetLabel() {
				values = append(values, l.GetValue())
			}
			if !slices.ContainsFunc(labels, func(v string) bool { return !slices.Contains(values, v) }) {
				sum += m.GetCounter().GetValue() + m.GetGauge().GetValue()
				found = true
			}
		}
	}
	if !found {
		t.Fatalf("no series %s of %q", name, labels)
	}
	return sum
}
