package fatigue_test

import (
	"math"
	"slices"
	"strconv"
	"testing"

	"hawser/detect/fatigue"
)

// The worked example of ASTM E1049-85, 5.4.4 and Fig. 6: its cycles in the order in
// which they are counted, and their totals; and of 5.4.5 and Fig. 7, the same
// history repeating from its largest peak on, where all are whole.
func TestStandardsExample(t *testing.T) {
	history := numbers(t, "rainflow_astm_history.csv", 2)
	var want list
	wantTotals, wantRepeating := map[float64]uint64{}, map[float64]uint64{}
	for _, row := range rows(t, "rainflow_astm_counts.csv") {
		n, err := strconv.ParseFloat(row[5], 64)
		if err != nil {
			t.Fatal(err)
		}
		number := func(i int) float64 {
			v, err := strconv.ParseFloat(row[i], 64)
			if err != nil {
				t.Fatal(err)
			}
			return v
		}
		switch row[0] {
		case "rainflow_cycle":
			want = append(want, cycle{number(1), number(2), uint64(2 * n)})
		case "rainflow_total":
			wantTotals[number(3)] = uint64(2 * n)
		case "rainflow_repeating_total":
			wantRepeating[number(3)] = uint64(2 * n)
		}
	}
	got := count(history, 0)
	if !slices.Equal(got, want) {
		t.Errorf("cycles %v, want %v", got, want)
	}
	if g := totals(got); !equal(g, wantTotals) {
		t.Errorf("totals %v, want %v", g, wantTotals)
	}
	// Points on the way from one reversal to the next are none.
	var between []float64
	for i, x := range history {
		if i > 0 {
			for part := 1; part < 4; part++ {
				between = append(between, history[i-1]+(x-history[i-1])*float64(part)/4)
			}
		}
		between = append(between, x)
	}
	if got := count(between, 0); !slices.Equal(got, want) {
		t.Errorf("with points between: %v, want %v", got, want)
	}
	if g := totals(count(repeated(history), 0)); !equal(g, wantRepeating) {
		t.Errorf("repeating: %v, want %v", g, wantRepeating)
	}
}

// repeated begins and ends a history that goes round at its largest value.
func repeated(history []float64) []float64 {
	top := 0
	for i, x := range history {
		if x > history[top] {
			top = i
		}
	}
	round := slices.Concat(history[top:], history[:top])
	return append(round, history[top])
}

func equal(a, b map[float64]uint64) bool {
	if len(a) != len(b) {
		return false
	}
	for k, v := range a {
		if b[k] != v {
			return false
		}
	}
	return true
}

// Small histories of a public library's own tests of the standard's three-point
// rule (github.com/dpzhuX/ffpack, tests/lcc/test_lcc_astmCounting.py).
func TestSmallHistories(t *testing.T) {
	for _, c := range []struct {
		name    string
		history []float64
		want    map[float64]uint64 // half cycles by range
	}{
		{"small case 1", []float64{-1, 3, -0.5, 1, -2}, map[float64]uint64{1.5: 2, 4: 1, 5: 1}},
		{"small case 2", []float64{-1, 1, -3, 3, 2}, map[float64]uint64{1: 1, 2: 1, 4: 1, 6: 1}},
		{"small case 3", []float64{0, 2.5, 0, 3}, map[float64]uint64{2.5: 2, 3: 1}},
		{"two points", []float64{0, 1.5}, map[float64]uint64{1.5: 1}},
		{"there and back", []float64{0, 1.5, 0}, map[float64]uint64{1.5: 2}},
		{"nothing", nil, map[float64]uint64{}},
		{"a constant load", []float64{4, 4, 4, 4}, map[float64]uint64{}},
	} {
		if got := totals(count(c.history, 0)); !equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// fourPoints counts by the four-point rule of a reader of reversals that has all of
// them (as in Amzallag and others, Int. J. Fatigue 16, 1994): an inner range that
// neither of its neighbours falls short of is a cycle; what is left is the residue.
func fourPoints(history []float64) (whole list, residue []float64) {
	var r []float64
	for i, x := range history {
		switch {
		case i > 0 && x == r[len(r)-1]:
		case len(r) > 1 && (r[len(r)-1]-r[len(r)-2])*(x-r[len(r)-1]) > 0:
			r[len(r)-1] = x
		default:
			r = append(r, x)
		}
	}
	for again := true; again; {
		again = false
		for i := 0; i+3 < len(r); i++ {
			inner := math.Abs(r[i+2] - r[i+1])
			if inner <= math.Abs(r[i+1]-r[i]) && inner <= math.Abs(r[i+3]-r[i+2]) {
				whole = append(whole, cycle{r[i+1], r[i+2], 2})
				r = slices.Delete(r, i+1, i+3)
				again = true
				break
			}
		}
	}
	return whole, r
}

// Three points as they come and four points afterwards count the same cycles, but
// for equal ranges, of which either may be the whole one: there the totals are
// compared.
func TestAgainstFourPoints(t *testing.T) {
	for seed := range uint64(20) {
		for name, history := range histories(seed, 600) {
			want, residue := fourPoints(history)
			for i := 1; i < len(residue); i++ {
				want = append(want, cycle{residue[i-1], residue[i], 1})
			}
			got := count(history, 0)
			same := slices.Equal(sorted(got), sorted(want))
			if name == "grid" {
				same = equal(totals(got), totals(want))
			}
			if !same {
				t.Errorf("%s, seed %d: %d cycles, want %d, or others", name, seed, len(got), len(want))
			}
		}
	}
}

// byDefinition are the cycles of a history that goes round, by a definition that
// does without an order of counting (Rychlik, Int. J. Fatigue 9, 1987): each
// maximum with the higher of the lowest loads that lie to either side of it before
// a higher one.
func byDefinition(round []float64) (out list) {
	n := len(round) - 1 // the last is the first again
	for i := 1; i < n; i++ {
		top := round[i]
		if !(round[i-1] < top && round[i+1] < top) {
			continue
		}
		before, after := top, top
		for j := i - 1; j >= 0 && round[j] < top; j-- {
			before = min(before, round[j])
		}
		for j := i + 1; j <= n && round[j] <= top; j++ {
			after = min(after, round[j])
		}
		out = append(out, cycle{max(before, after), top, 2})
	}
	return append(out, cycle{slices.Min(round), round[0], 2})
}

func TestAgainstTheDefinition(t *testing.T) {
	for seed := range uint64(20) {
		for name, history := range histories(100+seed, 500) {
			if name == "grid" {
				continue // where loads are equal the definition needs more words
			}
			round := repeated(history)
			got := totals(count(round, 0))
			want := totals(byDefinition(round))
			if !equal(got, want) {
				t.Errorf("%s, seed %d: %d ranges, want %d, or others", name, seed, len(got), len(want))
			}
		}
	}
}

// A gate takes out the cycles under it and leaves the others as they are.
func TestGate(t *testing.T) {
	for seed := range uint64(20) {
		for name, history := range histories(200+seed, 600) {
			gate := 0.8
			if name == "moored" {
				gate = 0.005
			}
			var want list
			for _, c := range count(history, 0) {
				if c.size() >= gate {
					want = append(want, c)
				}
			}
			got := count(history, gate)
			same := slices.Equal(sorted(got), sorted(want))
			if name == "grid" {
				same = equal(totals(got), totals(want))
			}
			if !same {
				t.Errorf("%s, seed %d: %d cycles through the gate, want %d, or others", name, seed, len(got), len(want))
			}
		}
	}
}

// Noise alone is no cycle.
func TestNoiseIsNoCycle(t *testing.T) {
	history := histories(1, 100_000)["noise"]
	for i := range history {
		history[i] = 0.2 + 0.0005*history[i] // 0.05 % of the breaking load
	}
	if got := count(history, 0.005); len(got) != 0 {
		t.Errorf("%d cycles of noise", len(got))
	}
	if got := count(history, 0); len(got) < 10_000 {
		t.Errorf("only %d cycles without a gate: the history has no noise", len(got))
	}
}

// Loads that swing less and less leave every range open: the residue stays within
// its bound, nothing is lost from the count and what was cut is told.
func TestResidueIsBounded(t *testing.T) {
	const swings = 1000
	var history []float64
	for i := range swings {
		history = append(history, float64(swings-i)*float64(1-2*(i%2)))
	}
	var c fatigue.Counter
	var got list
	for _, x := range history {
		c.Push(x, 0, &got)
		if len(c.Residue) > fatigue.MaxResidue {
			t.Fatalf("residue of %d", len(c.Residue))
		}
	}
	c.Rest(&got)
	if c.Cut == 0 || !equal(totals(got), totals(count0(history))) {
		t.Errorf("%d cut, %d ranges counted", c.Cut, len(got))
	}
}

// Swings of one range are cycles as they come (X not less than Y closes Y): none of
// them waits in the residue.
func TestEqualRanges(t *testing.T) {
	var c fatigue.Counter
	var got list
	for i := range 10_000 {
		c.Push(float64(i%2), 0, &got)
	}
	if len(c.Residue) > 2 || c.Cut != 0 || len(got) < 9_990 {
		t.Errorf("residue of %d, %d cut, %d counted", len(c.Residue), c.Cut, len(got))
	}
	c.Rest(&got)
	if want := map[float64]uint64{1: 9999}; !equal(totals(got), want) {
		t.Errorf("%v, want %v", totals(got), want)
	}
}

// count0 counts each leg as a half cycle: simple-range counting, which is what
// rainflow comes to where the ranges only shrink.
func count0(history []float64) (out list) {
	for i := 1; i < len(history); i++ {
		out = append(out, cycle{history[i-1], history[i], 1})
	}
	return out
}
