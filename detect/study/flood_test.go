package study_test

import (
	"testing"

	"hawser/detect"
)

// Two partings in gusts, on ships drawn by lot: whoever is called sees at most
// three alarms in the first ten seconds.
func TestPartingDoesNotFlood(t *testing.T) {
	const wanted, most, within = 40, 3, 10.0
	partings := 0
	for seed := uint64(1); partings < wanted; seed++ {
		c, ok := draw(kind{"two partings", 15, [2]float64{0.24, 0.34}, func(c *scene) { c.parts(); c.parts() }}, seed)
		if !ok {
			continue
		}
		_, alarms, err := watch(c, func(*detect.Berth, float64) {})
		if err != nil {
			t.Fatal(err)
		}
		for i, first := range alarms {
			if first.condition != detect.LineParted {
				continue
			}
			partings++
			n := 0
			for _, a := range alarms[i:] {
				if a.at-first.at < within {
					n++
				}
			}
			if n > most {
				t.Errorf("seed %d: %d alarms in ten seconds: %+v", seed, n, alarms[i:i+n])
			}
		}
		if seed > 400 {
			t.Fatalf("only %d partings told in %d scenes", partings, seed)
		}
	}
}
