package fatigue_test

import (
	"cmp"
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"

	"hawser/detect/fatigue"
)

// cycle is one that was counted.
type cycle struct {
	from, to float64
	halves   uint64
}

func (c cycle) size() float64 { return math.Abs(c.to - c.from) }

// list is a sink that keeps all.
type list []cycle

func (l *list) Cycle(from, to float64, halves uint64) { *l = append(*l, cycle{from, to, halves}) }

// count counts a whole history, its residue as half cycles.
func count(history []float64, gate float64) list {
	var c fatigue.Counter
	var out list
	for _, x := range history {
		c.Push(x, gate, &out)
	}
	c.Rest(&out)
	return out
}

// totals are half cycles by range.
func totals(l list) map[float64]uint64 {
	m := map[float64]uint64{}
	for _, c := range l {
		m[c.size()] += c.halves
	}
	return m
}

// sorted is the cycles without their order and direction.
func sorted(l list) []cycle {
	out := slices.Clone(l)
	for i, c := range out {
		out[i] = cycle{min(c.from, c.to), max(c.from, c.to), c.halves}
	}
	slices.SortFunc(out, func(a, b cycle) int {
		return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(a.to, b.to), cmp.Compare(a.halves, b.halves))
	})
	return out
}

func numbers(t *testing.T, file string, column int) (out []float64) {
	t.Helper()
	for _, row := range rows(t, file) {
		v, err := strconv.ParseFloat(row[column], 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	return out
}

// rows are a file's, without its head.
func rows(t *testing.T, file string) [][]string {
	t.Helper()
	f, err := os.Open("testdata/" + file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return all[1:]
}

// histories are drawn by lot and made up: a walk, white noise, loads on a coarse
// grid with many equal ones, and a line's load under tide, swell and gusts.
func histories(seed uint64, n int) map[string][]float64 {
	r := rand.New(rand.NewPCG(seed, 1))
	walk, noise, grid, moored := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	x, gust := 0.0, 0.0
	for i := range n {
		x += r.NormFloat64()
		gust += 0.05 * (r.NormFloat64()*0.05 - gust)
		at := float64(i)
		walk[i], noise[i], grid[i] = x, r.NormFloat64(), float64(r.IntN(7))
		moored[i] = max(0, 0.2+0.1*math.Sin(at/900)+0.04*math.Sin(at/7)*math.Sin(at/130)+gust+0.002*r.NormFloat64())
	}
	return map[string][]float64{"walk": walk, "noise": noise, "grid": grid, "moored": moored}
}
