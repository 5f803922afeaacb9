package detect_test

import (
	"math"
	"slices"
	"testing"

	"hawser/detect"
	"hawser/detect/reading"
)

// A load is told for the line without a pin only, once the ship's position has been known
// for six minutes, and not while she is said to be leaving.
func TestLeastLosses(t *testing.T) {
	t.Parallel()
	s, err := parseScript("testdata/unseen-parting.txt") // at 420 s
	if err != nil {
		t.Fatal(err)
	}
	plan, facts := s.facts(t)
	berth := func(seconds int64, facts []fact) *detect.Berth {
		_, b := replay(plan, slices.DeleteFunc(slices.Clone(facts), func(f fact) bool { return f.time > start+seconds*second }))
		return b
	}
	b := berth(415, facts)
	least := b.LeastLosses(nil)
	for i, l := range plan.Lines {
		if l.Instrumented != math.IsNaN(least[i]) || !l.Instrumented && !(least[i] > 0 && least[i] < l.MBLkN) {
			t.Errorf("line %s, with a pin %v: %v kN of %v", l.ID, l.Instrumented, least[i], l.MBLkN)
		}
	}
	none := func(name string, least []float64) {
		if len(least) != len(plan.Lines) || slices.ContainsFunc(least, func(kN float64) bool { return !math.IsNaN(kN) }) {
			t.Errorf("%s: %v", name, least)
		}
	}
	none("before six minutes", berth(300, facts).LeastLosses(nil))
	kept, err := b.Snapshot()
	if err != nil {
		t.Fatal(err)
	}
	again, err := detect.Restore(plan, kept)
	if err != nil {
		t.Fatal(err)
	}
	none("restored, before the next step", again.LeastLosses(nil))
	leaving := slices.Clone(facts)
	for k := range leaving {
		if f := &leaving[k]; f.channel.Kind == reading.UnderWatch && f.time > start+400*second {
			f.value = 0
		}
	}
	none("leaving", berth(415, leaving).LeastLosses(nil))
}
