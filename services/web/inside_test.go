package web

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// course makes a course of means, oldest first, one every ten seconds.
func course(means ...float64) []spanWire {
	var out []spanWire
	for i, kN := range means {
		out = append(out, spanWire{exactly(float64(1000 + i)), exactly(kN), exactly(kN), exactly(kN)})
	}
	return out
}

func ramp(n int, from, step float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = from + step*float64(i)
	}
	return out
}

// By hand: 2 kN every ten seconds are 12 kN a minute.
func TestRate(t *testing.T) {
	wave := make([]float64, 30)
	for i := range wave {
		wave[i] = 100 + 20*math.Sin(float64(i)*2*math.Pi/5) // whole waves: no trend
	}
	swinging := ramp(30, 100, 2)
	for i, swing := range []float64{0, 9, -9, -9, 9, 0} { // none on the whole, nor any slope
		for k := range 5 {
			swinging[6*k+i] += swing
		}
	}
	for name, row := range map[string]struct {
		course []spanWire
		want   number
	}{
		"rises":               {course(ramp(30, 100, 2)...), exactly(12)},
		"falls":               {course(ramp(30, 400, -0.5)...), exactly(-3)},
		"only the last 5 min": {course(append(ramp(30, 500, -10), ramp(30, 100, 2)...)...), exactly(12)},
		"waves":               {course(wave...), number{}},
		"a step":              {course(append(ramp(24, 100, 0), ramp(6, 250, 0)...)...), number{}},
		"a step long ago":     {course(append(ramp(6, 100, 0), ramp(24, 250, 0)...)...), number{}},
		"a squall passing":    {course(append(append(ramp(12, 100, 0), ramp(10, 110, 20)...), ramp(8, 280, -15)...)...), number{}},
		"rises and swings":    {course(swinging...), exactly(12)},
		"steady":              {course(ramp(30, 100, 0)...), number{}},
		"too little":          {course(ramp(11, 100, 2)...), number{}},
		"none":                {nil, number{}},
	} {
		if got := rate(row.course); got != row.want {
			t.Errorf("%s: %v, want %v", name, got, row.want)
		}
	}
}

func TestNumbers(t *testing.T) {
	value := func(v float64) *float64 { return &v }
	for _, row := range []struct {
		n    number
		want string
	}{
		{to(1, value(123.456)), "123.5"}, {to(0, value(-0.2)), "0"}, {to(2, value(1e6)), "1000000"},
		{to(1, nil), "null"}, {to(1, value(math.NaN())), "null"}, {to(1, value(math.Inf(1))), "null"},
	} {
		if got, err := row.n.MarshalJSON(); err != nil || string(got) != row.want {
			t.Errorf("%v: %s, want %s", row.n, got, row.want)
		}
	}
}

func TestPlacesAndConditions(t *testing.T) {
	all, err := readWords()
	if err != nil {
		t.Fatal(err)
	}
	w := all["en-GB"]
	for got, want := range map[string]string{
		w.place("4", "fwd-breast", ""): "Line 4, forward breast line", w.place("", "stern", ""): "Stern lines", w.place("4", "", ""): "Line 4", w.place("", "", ""): "", w.place("", "", "bow"): "Gateway bow", w.place("4", "", "bow"): "Line 4",
		w.condition("line-parted"): "Line parted", w.condition("not-known-yet"): "not-known-yet",
		w.condition("journal-pressure-disk"): "Journal near its limits",
		w.figure("%.2f", 2.25):               "2.25", all["de"].figure("%.2f", 2.25): "2,25",
		w.percent(1, 0.0125): "1.2\u00a0%",
		w.say("no.such"):     "no.such",
	} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// luminance and contrast are those of WCAG 2.2 (relative luminance, contrast
// ratio).
func luminance(hex string) float64 {
	if len(hex) == 4 {
		hex = "#" + strings.Repeat(hex[1:2], 2) + strings.Repeat(hex[2:3], 2) + strings.Repeat(hex[3:4], 2)
	}
	part := func(s string) float64 {
		n, err := strconv.ParseUint(s, 16, 8)
		if err != nil {
			panic(err)
		}
		c := float64(n) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*part(hex[1:3]) + 0.7152*part(hex[3:5]) + 0.0722*part(hex[5:7])
}

func contrast(a, b string) float64 {
	la, lb := luminance(a), luminance(b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

// Text has a contrast of 4.5 to 1 at least and marks one of 3 to 1, by day and by
// night: WCAG 2.2, 1.4.3 and 1.4.11.
func TestContrast(t *testing.T) {
	if got := contrast("#fff", "#000000"); math.Abs(got-21) > 1e-9 { // the greatest there is, by the definition
		t.Fatalf("white on black is %v", got)
	}
	css, err := built.ReadFile("built/plain.css")
	if err != nil {
		t.Fatal(err)
	}
	colours := regexp.MustCompile(`--([a-z-]+):\s*light-dark\((#[0-9a-f]{3,6}),\s*(#[0-9a-f]{3,6})\)`).FindAllStringSubmatch(string(css), -1)
	for i, scheme := range []string{"day", "night"} {
		of := map[string]string{}
		for _, m := range colours {
			of[m[1]] = m[2+i]
		}
		check := func(a, b string, least float64) {
			t.Helper()
			if of[a] == "" || of[b] == "" {
				t.Fatalf("no colour %s or %s", a, b)
			}
			if got := contrast(of[a], of[b]); got < least {
				t.Errorf("%s: %s on %s is %.2f, want %.1f", scheme, a, b, got, least)
			}
		}
		for _, ground := range []string{"sheet", "ground", "raised"} {
			for _, ink := range []string{"ink", "quiet", "emergency", "alarm", "warning", "caution", "fine"} {
				check(ink, ground, 4.5)
			}
			for _, mark := range []string{"load", "edge", "focus"} {
				check(mark, ground, 3)
			}
		}
		check("load", "axis", 3)
		check("ink", "axis", 3)
		check("on-flood", "flood", 4.5)
	}
}
