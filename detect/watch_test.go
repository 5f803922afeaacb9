package detect_test

import (
	"slices"
	"testing"

	"hawser/detect"
)

// The operating state, second by second, in the cases that are told without the berth's
// own channel, or against it. The hour of the forgotten watch counts from the first
// mean load of a minute, by which her lines came to carry. Common practice, no source.
func TestOperatingState(t *testing.T) {
	type span struct {
		from float64 // s
		how  detect.Operating
	}
	for name, want := range map[string][]span{
		"departure":          {{0, detect.MadeFast}, {101, detect.StoodDown}},
		"departure-not-told": {{0, detect.MadeFast}, {108, detect.LinesMoved}},
		"watch-forgotten":    {{0, detect.MadeFast}, {11, detect.StoodDown}, {3631, detect.MadeFast}},
		"tending":            {{0, detect.MadeFast}},
		"left-slack":         {{0, detect.MadeFast}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s, err := parseScript("testdata/" + name + ".txt")
			if err != nil {
				t.Fatal(err)
			}
			plan, facts := s.facts(t)
			slices.SortStableFunc(facts, func(a, b fact) int { return int(a.time - b.time) })
			b := detect.New(plan)
			for len(facts) > 0 {
				until := facts[0].time - facts[0].time%second + second
				n := slices.IndexFunc(facts, func(f fact) bool { return f.time >= until })
				if n < 0 {
					break // the last second is not complete
				}
				push(b, "a", facts[:n])
				b.Advance("a", until-1, nil)
				facts = facts[n:]
				at := float64(until-start) / 1e9
				how, unsure := detect.MadeFast, false
				for _, w := range want {
					if at >= w.from {
						how = w.how
					}
					unsure = unsure || at > w.from-2 && at < w.from+2
				}
				if got := b.Operating(); got != how && !unsure {
					t.Fatalf("at %g s: %d, want %d", at, got, how)
				}
				if b.UnderWatch() != (b.Operating() != detect.StoodDown) {
					t.Fatalf("at %g s: under watch %v in state %d", at, b.UnderWatch(), b.Operating())
				}
			}
		})
	}
}
