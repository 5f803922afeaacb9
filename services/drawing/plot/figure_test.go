package plot

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

const (
	second = int64(1e9)
	minute = 60 * second
)

// elements reads SVG to its end and counts the elements by name.
func elements(t *testing.T, svg []byte) map[string]int {
	t.Helper()
	n := map[string]int{}
	for dec := xml.NewDecoder(strings.NewReader(string(svg))); ; {
		token, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return n
		}
		if err != nil {
			t.Fatalf("not XML: %v\n%.400s", err, svg)
		}
		if e, ok := token.(xml.StartElement); ok {
			n[e.Name.Local]++
			for _, a := range e.Attr {
				if strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") {
					t.Errorf("<%s %s=%q>", e.Name.Local, a.Name.Local, a.Value)
				}
			}
		}
	}
}

// Whatever the values and words, a drawing is XML without a place that is no
// number.
func TestDrawingIsWhole(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name   string
		values []float64
	}{
		{"nothing", nil},
		{"one", []float64{5}},
		{"one that is not known", []float64{nan}},
		{"all alike", []float64{7, 7, 7}},
		{"nothing but zero", []float64{0, 0}},
		{"infinite", []float64{1, math.Inf(1), 2}},
		{"gaps", []float64{1, nan, 2, 3, nan, 4}},
		{"below zero", []float64{-3, -2.5, -4}},
		{"huge and alike", []float64{1e12, 1e12}},
		{"huge and small", []float64{1e-9, 1e12}},
	} {
		t.Run(c.name, func(t *testing.T) {
			v := Curve{Label: "a <&> b", Stroke: Heavy()}
			for k, x := range c.values {
				v.Add(int64(k)*second, x)
			}
			p := Panel{Title: `"load" <kN>`, Height: 100, Curves: []Curve{v}}
			p.Limit(320, "limit")
			f := &Figure{Left: 70, Right: 830, From: -minute, To: minute, Step: second, Unit: "s",
				Marks: []Mark{{0, "said"}, {-second, "onset"}}, Panels: []Panel{p}}
			svg := NewSVG(960, f.Height(), "<title>", "a & b")
			f.Draw(svg, 0)
			if n := elements(t, svg.Bytes()); n["svg"] != 1 || n["text"] < 5 {
				t.Errorf("elements %v", n)
			}
		})
	}
}

// Thinned, a curve keeps its ends' spans, its greatest and least, and the order
// of time.
func TestThinKeepsSpikes(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	var times []int64
	var values []float64
	for k := range 50_000 {
		times = append(times, int64(k)*second/20)
		values = append(values, r.NormFloat64())
	}
	values[12_345], values[40_001], values[30_000] = 99, -88, math.NaN()
	const span = 3 * second
	got, kept := thin(times, values, span)
	if len(got) > 3*50_000/20/3+3 {
		t.Errorf("%d values kept of 50 values to each of three", len(got))
	}
	if !slices.IsSorted(got) {
		t.Error("out of order")
	}
	for from := 0; from < len(times); from += 60 { // 60 readings to a span of 3 s
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, v := range values[from:min(from+60, len(values))] {
			if v < lo {
				lo = v
			}
			if v > hi {
				hi = v
			}
		}
		if !slices.Contains(kept, lo) || !slices.Contains(kept, hi) {
			t.Fatalf("from reading %d the least %v or greatest %v is lost", from, lo, hi)
		}
	}
}

func TestTicksAreRound(t *testing.T) {
	for _, c := range []struct {
		lo, hi float64
		n      int
		want   []float64
	}{
		{0, 100, 5, []float64{0, 20, 40, 60, 80, 100}},
		{-60, 30, 9, []float64{-60, -50, -40, -30, -20, -10, 0, 10, 20, 30}},
		{0.3, 0.91, 3, []float64{0.4, 0.6, 0.8}},
		{-7, 1, 4, []float64{-6, -4, -2, 0}},
		{0, 10, 20, []float64{0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4, 4.5, 5, 5.5, 6, 6.5, 7, 7.5, 8, 8.5, 9, 9.5, 10}},
		{11.1, 12.7, 2, []float64{11.5, 12, 12.5}}, // one alone would be no scale
	} {
		got := ticks(c.lo, c.hi, c.n)
		if !slices.EqualFunc(got, c.want, func(a, b float64) bool { return math.Abs(a-b) < 1e-12 }) {
			t.Errorf("from %v to %v: %v, want %v", c.lo, c.hi, got, c.want)
		}
	}
}

// Names stand apart, inside the panel, in the order of their curves.
func TestNamesStandApart(t *testing.T) {
	names := []name{{text: "c", y: 99}, {text: "a", y: 2}, {text: "b", y: 98}, {text: "d", y: 99.5}}
	spread(names, 0, 100)
	for k := range names {
		if names[k].y < 0 || names[k].y > 100 || k > 0 && names[k].y-names[k-1].y < apart-1e-9 {
			t.Errorf("names stand at %+v", names)
		}
	}
	if got := names[0].text + names[1].text + names[2].text + names[3].text; got != "abcd" {
		t.Errorf("order %s", got)
	}
}

func TestNumbersInWords(t *testing.T) {
	for v, want := range map[float64]string{0: "0", -3: "−3", 0.05: "0.05", 320: "320", 1234.5: "1234.5", -0.0000001: "0"} {
		if got := Number(v); got != want {
			t.Errorf("%v is told as %q, want %q", v, got, want)
		}
	}
}

// What begins before a figure or goes on after it is drawn up to its edges, by hand here,
// and not across a gap.
func TestNothingIsDrawnBesideTheFigure(t *testing.T) {
	f := Figure{From: minute, To: 3 * minute}
	for _, c := range []struct {
		name   string
		times  []int64
		values []float64
		wantT  []int64
		wantV  []float64
	}{
		{"within", []int64{minute, 3 * minute}, []float64{1, 2}, []int64{minute, 3 * minute}, []float64{1, 2}},
		{"over both edges", []int64{0, 2 * minute, 4 * minute}, []float64{0, 2, 6}, []int64{minute, 2 * minute, 3 * minute}, []float64{1, 2, 4}},
		{"nothing inside", []int64{30 * second, 210 * second}, []float64{0, 6}, []int64{minute, 3 * minute}, []float64{1, 5}},
		{"on an edge", []int64{0, minute, 2 * minute}, []float64{5, 1, 2}, []int64{minute, 2 * minute}, []float64{1, 2}},
		{"across a gap", []int64{-10 * minute, 2 * minute}, []float64{0, 2}, []int64{2 * minute}, []float64{2}},
		{"all before", []int64{0, 30 * second}, []float64{0, 1}, nil, nil},
	} {
		if gotT, gotV := f.cut(c.times, c.values, 3*minute); !slices.Equal(gotT, c.wantT) || !slices.Equal(gotV, c.wantV) {
			t.Errorf("%s: %v %v, want %v %v", c.name, gotT, gotV, c.wantT, c.wantV)
		}
	}
}
