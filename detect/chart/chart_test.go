package chart_test

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"hawser/detect/chart"
)

// table reads a file of testdata, without its head.
func table(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// The scales by their definitions, with the normal law of a library.
func TestScales(t *testing.T) {
	law := distuv.Normal{Sigma: 1}
	if want := 1 / law.Quantile(0.75); math.Abs(chart.MADScale-want) > 1e-12 {
		t.Errorf("MADScale %v, 1/Φ⁻¹(3/4) is %v", chart.MADScale, want)
	}
	if want := math.Sqrt(math.Pi / 2); math.Abs(chart.MeanScale-want) > 1e-15 {
		t.Errorf("MeanScale %v, √(π/2) is %v", chart.MeanScale, want)
	}
}

// The cumulative sums of a handbook's example. Source: NIST/SEMATECH e-Handbook
// of Statistical Methods 6.3.2.3: 20 group means, target 325, K = 0.3175 and
// H = 4.1959, told first at group 14.
func TestHandbookExample(t *testing.T) {
	up, down := chart.Cusum{K: 0.3175, H: 4.1959}, chart.Cusum{K: 0.3175, H: 4.1959}
	var high, low float64
	first := 0
	for _, r := range table(t, "cusum-handbook.csv") {
		var told, toldLow bool
		x := number(t, r[1]) - 325
		high, told = up.Next(high, x)
		low, toldLow = down.Next(low, -x)
		if math.Abs(high-number(t, r[3])) > 5e-5 || math.Abs(low-number(t, r[4])) > 5e-5 {
			t.Errorf("group %s: %.4f and %.4f, the handbook has %s and %s", r[0], high, low, r[3], r[4])
		}
		if told && first == 0 {
			first, _ = strconv.Atoi(r[0])
		}
		if toldLow || told != (r[6] == "1") {
			t.Errorf("group %s: told above %v, below %v", r[0], told, toldLow)
		}
	}
	if first != 14 {
		t.Errorf("first told at group %d, in the handbook at 14", first)
	}
}

// Source: D. C. Montgomery, Introduction to Statistical Quality Control, tables
// 9.1 and 9.2, from memory: mean 10, K = 0.5, H = 5, told first at 29.
func TestTextbookExample(t *testing.T) {
	c := chart.Cusum{K: 0.5, H: 5}
	var high, low float64
	for _, r := range table(t, "cusum-textbook.csv") {
		x := number(t, r[1]) - 10
		var told bool
		high, told = c.Next(high, x)
		low, _ = c.Next(low, -x)
		if math.Abs(high-number(t, r[2])) > 0.0051 || math.Abs(low-number(t, r[4])) > 0.0051 || told != (r[6] == "1") {
			t.Errorf("observation %s: %.2f and %.2f, told %v; the textbook has %s, %s and %s", r[0], high, low, told, r[2], r[4], r[6])
		}
	}
}

// The limits of a moving average by its variance summed up term by term.
func TestLimitsFromTheStart(t *testing.T) {
	e := chart.Ewma{Lambda: 0.2, L: 2.7}
	for n := 1; n < 60; n++ {
		variance := 0.0
		for k := range n { // of λ Σ (1−λ)^k x
			variance += math.Pow(e.Lambda*math.Pow(1-e.Lambda, float64(k)), 2)
		}
		if want := e.L * math.Sqrt(variance); math.Abs(e.Limit(n)-want) > 1e-12 {
			t.Errorf("after %d: limit %v, want %v", n, e.Limit(n), want)
		}
	}
	if math.Abs(e.Limit(1000)-e.Settled()) > 1e-12 {
		t.Errorf("limit settles at %v, not %v", e.Limit(1000), e.Settled())
	}
	// L times the first observation's own weight: an observation of L deviations
	if got := e.Next(0, e.L); math.Abs(got-e.Limit(1)) > 1e-12 {
		t.Errorf("an observation of L deviations takes the average to %v, its limit is %v", got, e.Limit(1))
	}
}
