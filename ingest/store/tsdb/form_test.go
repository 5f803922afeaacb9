package tsdb

import (
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"hawser/detect/reading"
)

func TestChooseForm(t *testing.T) {
	for _, c := range []struct {
		name     string
		known    []int8
		decimals int8
		want     int8 // decimals of the form; -2 for a new one
	}{
		{"first", nil, 1, -2},
		{"the same", []int8{1}, 1, 1},
		{"a second of whole numbers", []int8{1}, 0, 1},
		{"finer", []int8{1}, 2, -2},
		{"the finest usual one", []int8{0, 2, 1}, 0, 2},
		{"not the one of an odd block", []int8{1, 7}, 1, 1},
		{"only an odd one fits", []int8{1, 7}, 5, 7},
		{"the coarsest odd one", []int8{9, 7, 8}, 5, 7},
		{"usual before odd", []int8{7, 4}, 3, 4},
		{"none", []int8{1}, -1, -2},
		{"none known", []int8{1, -1}, -1, -1},
		{"none is for none only", []int8{-1}, 1, -2},
	} {
		var forms []form
		for _, d := range c.known {
			forms = append(forms, form{decimals: d})
		}
		got := int8(-2)
		if i := chooseForm(forms, c.decimals); i >= 0 {
			got = forms[i].decimals
		}
		if got != c.want {
			t.Errorf("%s: form of %d decimals, want %d", c.name, got, c.want)
		}
	}
}

// Whatever is packed comes back as strconv parsed it; what would not is not packed.
func TestPackExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Int64Range(-1<<53, 1<<53).Draw(t, "n")
		written := int8(rapid.IntRange(0, maxDecimals).Draw(t, "written"))
		stored := int8(rapid.IntRange(int(written), maxDecimals).Draw(t, "stored"))
		// n written with its decimal point, by hand.
		text := strconv.FormatInt(n, 10) + "e-" + strconv.Itoa(int(written))
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		s := &reading.Series{Time: []int64{0}, Value: []float64{v}}
		packed, ok := pack(nil, s, stored)
		if ok && packed[0]/scale(stored) != v {
			t.Fatalf("%s came back as %v", text, packed[0]/scale(stored))
		}
		if ok && packed[0] != math.Trunc(packed[0]) {
			t.Fatalf("%s is stored as %v, not whole", text, packed[0])
		}
		// Up to 2^53 whole numbers and, by a margin of two bits for the product's
		// rounding, all of them pack.
		if !ok && math.Abs(v)*scale(stored) < 1<<51 {
			t.Fatalf("%s was not packed at %d decimals", text, stored)
		}
	})
}

func TestPackRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		v        float64
		decimals int8
	}{
		"finer than said": {0.15, 1}, "no grid": {math.Pi, 9}, "too large": {1e300, 9}, "beside it by a bit": {math.Nextafter(0.1, 1), 1},
	} {
		if _, ok := pack(nil, &reading.Series{Time: []int64{0}, Value: []float64{c.v}}, c.decimals); ok {
			t.Errorf("%s: %v packed at %d decimals", name, c.v, c.decimals)
		}
	}
}
