package study_test

import (
	"testing"

	"hawser/detect"
	"hawser/ingest/simulate"
)

// Where a pin's zero jumps up and its line is told as carrying too much for its group,
// that is over once the pin is told to be at fault.
func TestWhatAFaultyPinMadeBelieveIsWithdrawn(t *testing.T) {
	var jump kind
	for _, k := range kinds() {
		if k.name == "zero jump" {
			jump = k
		}
	}
	believed := 0
	for seed := uint64(1); seed <= 12; seed++ {
		c, ok := draw(jump, seed)
		if !ok {
			continue
		}
		line := c.story.Events[len(c.story.Events)-1].Line
		changes, err := changesIn(c, func(simulate.State) {}, func(*detect.Berth, float64) {})
		if err != nil {
			t.Fatal(err)
		}
		standing, told := false, false
		for _, ch := range changes {
			switch {
			case ch.Condition == detect.Imbalance && ch.Line == line:
				standing = ch.Raised
			case ch.Condition == detect.SensorFault && ch.Line == line && ch.Raised && standing:
				told = true
				believed++
			}
		}
		if standing && told {
			t.Errorf("seed %d: line %s still counts as carrying too much for its group", seed, line)
		}
	}
	if believed == 0 {
		t.Error("no jump was taken for an imbalance first: nothing was tested")
	}
}
