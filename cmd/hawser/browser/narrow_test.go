package browser_test

import (
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// On a phone the log has no heads of columns: each figure says itself what it is. The
// report's sentences stay sentences, not a word a line.
func TestLogAndReportOnAPhone(t *testing.T) {
	s, tab := newServer(t), browser(t)
	s.send()
	do(t, tab, "the log", chromedp.EmulateViewport(390, 844), chromedp.Navigate(s.pages), says("Line parted"), chromedp.Navigate(s.pages+"log"), says("Line parted"))
	said := ask[string](t, tab, `[...document.querySelectorAll(".log tbody tr:first-child td")].map((e) => getComputedStyle(e, "::before").content).join()`)
	for _, want := range []string{"Acknowledged", "Stood"} {
		if !strings.Contains(said, want) {
			t.Errorf("the log's cells begin %s, without %q", said, want)
		}
	}
	noWider(t, tab)
	do(t, tab, "the report", chromedp.Navigate(s.pages+"report?berth=north-jetty-1&zone=UTC"), holds(`document.querySelector("table")`))
	if high := ask[float64](t, tab, `Math.max(...[...document.querySelectorAll("tbody tr")].map((e) => e.getBoundingClientRect().height))`); high > 160 {
		t.Errorf("a row of the report is %.0f px high", high)
	}
	noWider(t, tab)
}
