package evidence

import (
	"math"
	"strings"
	"testing"
)

func TestNumbersInWords(t *testing.T) {
	for v, want := range map[float64]float64{0: 0, 31.66: 31.7, -0.12345: -0.123, 1999: 2000} {
		if got := significant(v); math.Abs(got-want) > 1e-12 {
			t.Errorf("%v to three digits is %v, want %v", v, got, want)
		}
	}
	if got := strings.Join(wrap("aaa bb cccc d", 6), "|"); got != "aaa bb|cccc d" {
		t.Errorf("wrapped %q", got)
	}
}
