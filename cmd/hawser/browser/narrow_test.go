package browser_test

import (
	"context"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// On a phone the log has no heads of columns: each figure says itself what it is. The
// report's sentences stay sentences, not a word a line.
func TestLogAndReportOnAPhone(t *testing.T) {
	s, tab := newServer(t), browser(t)
	s.send()
	do(t, tab, "the log", chromedp.EmulateViewport(390, 844), chromedp.Navigate(s.pages), says("Line parted"), inHistory(), chromedp.Navigate(s.pages+"log"), says("Line parted"))
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

// Printed, a page is narrower than on the screen it was drawn for, and scripts have no
// turn: the charts shrink with it, so that no hour of them is cut off.
func TestPagesArePrintedWhole(t *testing.T) {
	s, tab := newServer(t), browser(t)
	s.send()
	do(t, tab, "open", chromedp.EmulateViewport(1600, 1000), chromedp.Navigate(s.pages), says("Line parted"), inHistory(), chromedp.Navigate(s.pages+"engineer?at=north-jetty-1&last=3600"),
		holds(`document.querySelectorAll(".chart canvas").length >= 5`), holds(`!document.querySelector(".status").textContent`),
		chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
			_, err := cdp.Call(ctx, tab, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
			return err
		}))
	if cut := ask[[]string](t, tab, `{
		document.querySelector("main").style.width = "700px"; // of a sheet of A4; measured before any observer is told
		[...document.querySelectorAll(".chart")].map((c) => [c.getBoundingClientRect(), c.querySelector("canvas")?.getBoundingClientRect(), c.querySelector("b").textContent])
			.filter(([c, canvas]) => canvas && (canvas.right > c.right || canvas.bottom > c.bottom + 1 || canvas.width < 200)).map(([c, canvas, name]) => name + " " + canvas.width + " of " + c.width)
	}`); len(cut) > 0 {
		t.Errorf("cut off: %q", cut)
	}
	for _, page := range []string{"berth/north-jetty-1", "plan/north-jetty-1"} {
		do(t, tab, "open", chromedp.Navigate(s.pages+page), shown(".sheet-of-mooring .label"))
		if cut := ask[[]string](t, tab, `{
			document.querySelector("main").style.width = "700px";
			[...document.querySelectorAll("main svg, .editor, .timebar")].filter((e) => e.checkVisibility() && !e.closest("svg svg"))
				.filter((e) => e.matches(".editor, .timebar") || e.getBoundingClientRect().right > 710 || e.getBoundingClientRect().bottom > e.parentElement.getBoundingClientRect().bottom + 1)
				.map((e) => e.getAttribute("class") + " " + e.getBoundingClientRect().width)
		}`); len(cut) > 0 {
			t.Errorf("%s: cut off, or of no use on paper: %q", page, cut)
		}
	}
}
