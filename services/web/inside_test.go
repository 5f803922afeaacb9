package web

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/alarm"
)

func TestWords(t *testing.T) {
	for got, want := range map[string]string{
		span(0.4): "0 s", span(59.9): "59 s", span(60): "1 min 0 s", span(3599): "59 min 59 s", span(3600): "1 h 0 min",
		span(47*3600 + 59*60): "47 h 59 min", span(48 * 3600): "2 days",
		sentence("line-parted"): "Line parted", sentence(""): "",
		place("4", "fwd-breast"): "Line 4, forward breast line", place("", "stern"): "Stern lines", place("4", ""): "Line 4", place("", ""): "",
		percent(0.154): "15 %", percent(-0.001): "0 %", percent(-0.02): "−2 %",
		figures("%.0f", -0.2): "0", figures("%+.2f", 0): "0.00", figures("%+.2f", -0.001): "0.00", figures("%+.2f", 0.42): "+0.42",
		figure(alarm.Measure{Value: 1.62, HasValue: true, Limit: 1.5, HasLimit: true}):           "1.62, held against 1.5",
		figure(alarm.Measure{Value: 1234.5, HasValue: true, Unit: "kN"}):                         "1234 kN",
		figure(alarm.Measure{Value: 0.061, HasValue: true, Limit: 5, HasLimit: true, Unit: "m"}): "0.061 m, held against 5 m",
		figure(alarm.Measure{Limit: 5, HasLimit: true}):                                          "",
	} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// By hand: limit 100, top 105; a minute ago is a tenth of 120 from the right;
// y = 28*(1-kN/105).
func TestCourseIsDrawnWithItsGap(t *testing.T) {
	c := drawCourse(&hawserv1.LinePicture{WorkingLoadKn: 100, Course: []*hawserv1.CoursePoint{
		{SecondsAgo: 60, MinKn: 0, MeanKn: 21, MaxKn: 42},
		{SecondsAgo: 50, MinKn: 21, MeanKn: 42, MaxKn: 63},
		{SecondsAgo: 0, MinKn: 42, MeanKn: 42, MaxKn: 42},
	}})
	if want := "M108.0 22.4L110.0 16.8M120.0 16.8"; c.Mean != want {
		t.Errorf("mean %s, want %s", c.Mean, want)
	}
	if want := "M108.0 16.8L110.0 11.2L110.0 22.4L108.0 28.0ZM120.0 16.8L120.0 16.8Z"; c.Band != want {
		t.Errorf("band %s, want %s", c.Band, want)
	}
	if c.Words != "0 to 63 kN" || math.Abs(c.Limit-28*5/105.0) > 1e-9 {
		t.Errorf("words %q, limit at %v", c.Words, c.Limit)
	}
	if drawCourse(&hawserv1.LinePicture{}) != nil {
		t.Error("nothing was drawn of nothing")
	}
}

// luminance and contrast are those of WCAG 2.1 (relative luminance, contrast
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
// night: WCAG 2.1, 1.4.3 and 1.4.11.
func TestContrast(t *testing.T) {
	if got := contrast("#fff", "#000000"); math.Abs(got-21) > 1e-9 { // the greatest there is, by the definition
		t.Fatalf("white on black is %v", got)
	}
	css, err := assets.ReadFile("assets/style.css")
	if err != nil {
		t.Fatal(err)
	}
	day, night, ok := strings.Cut(string(css), "prefers-color-scheme: dark")
	if !ok {
		t.Fatal("there is no dark scheme")
	}
	for scheme, part := range map[string]string{"day": day, "night": night} {
		colours := map[string]string{}
		for _, m := range regexp.MustCompile(`--([a-z-]+): (#[0-9a-f]{3,6});`).FindAllStringSubmatch(part, -1) {
			colours[m[1]] = m[2]
		}
		check := func(a, b string, least float64) {
			if got := contrast(colours[a], colours[b]); got < least {
				t.Errorf("%s: %s on %s is %.2f, want %.1f", scheme, a, b, got, least)
			}
		}
		for _, ink := range []string{"ink", "quiet", "emergency", "alarm", "warning", "caution", "fine"} {
			check(ink, "sheet", 4.5)
		}
		for _, ink := range []string{"ink", "quiet", "alarm"} {
			check(ink, "ground", 4.5)
		}
		for _, mark := range []string{"load", "hatch", "edge", "focus"} {
			check(mark, "sheet", 3)
		}
		check("load", "axis", 3)
		check("ink", "axis", 3)
		if got := contrast("#fff", colours["band-emergency"]); got < 4.5 {
			t.Errorf("%s: white on the emergency band is %.2f", scheme, got)
		}
	}
}
