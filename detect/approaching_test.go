package detect_test

import (
	"strings"
	"testing"

	"hawser/detect"
)

// A line that has gone over its limit is not told to be tended before it gets there.
func TestOverBeforeApproaching(t *testing.T) {
	s, err := parseScript("testdata/over-at-once.txt")
	if err != nil {
		t.Fatal(err)
	}
	plan, facts := s.facts(t)
	changes, _ := replay(plan, facts)
	over, after := map[string]bool{}, 0
	for _, c := range changes {
		switch c.Condition {
		case detect.OverLimit:
			over[c.Line] = c.Raised
		case detect.ApproachingLimit:
			if over[c.Line] {
				after++
			}
			if before := strings.Contains(c.Detail, "before it gets there"); before == over[c.Line] {
				t.Errorf("line %s, over its limit: %v: %s", c.Line, over[c.Line], c.Detail)
			}
		}
	}
	if after != 4 {
		t.Errorf("%d lines came over and then near, want 4", after)
	}
}
