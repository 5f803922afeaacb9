package detect

import (
	"fmt"
	"math"
	"testing"
)

// A half is rounded to even (IEEE 754), as a page and a report round it, and a pin that
// reads a little under nothing reads nothing.
func TestFiguresOfSentences(t *testing.T) {
	for v, want := range map[float64]string{96.5: "96", 97.5: "98", -0.4: "0", -0.5: "0", math.Copysign(0, -1): "0", -1.2: "-1"} {
		if got := fmt.Sprintf("%.0f", whole(v)); got != want {
			t.Errorf("%g is told as %s, want %s", v, got, want)
		}
	}
}
