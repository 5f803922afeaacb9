package browser_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// laid has a page look as it would on paper, or on the screen again.
func laid(medium string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		_, err := cdp.Call(ctx, tab, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: medium})
		return err
	})
}

// pale lists what would be hard to read on white paper, on which no ground is printed:
// words under the contrast of WCAG 2.2, 1.4.3, and canvases that are dark.
const pale = `(() => {
	const pen = document.createElement("canvas").getContext("2d", { willReadFrequently: true });
	const linear = (v) => v <= 0.04045 * 255 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4;
	const luminance = ([r, g, b]) => 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b);
	const onWhite = (colour) => {
		pen.fillStyle = "#fff";
		pen.fillRect(0, 0, 1, 1);
		pen.fillStyle = colour;
		pen.fillRect(0, 0, 1, 1);
		return 1.05 / (luminance(pen.getImageData(0, 0, 1, 1).data) + 0.05);
	};
	const words = [...document.body.querySelectorAll("*")]
		.filter((e) => !e.matches(".unseen, script, option") && e.checkVisibility() && [...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim() !== ""))
		.filter((e) => onWhite(e instanceof SVGElement ? getComputedStyle(e).fill : getComputedStyle(e).color) < 4.5)
		.map((e) => e.className + " " + e.textContent.slice(0, 40));
	const canvases = [...document.querySelectorAll("canvas")].filter((c) => c.checkVisibility() && c.width > 0).filter((c) => {
		const data = c.getContext("2d").getImageData(0, 0, c.width, c.height).data;
		let dark = 0;
		for (let i = 0; i < data.length; i += 4) if (data[i + 3] > 127 && luminance(data.slice(i, i + 3)) < 0.2) dark++;
		return dark > data.length / 4 / 3;
	}).map((c) => "canvas " + c.className);
	return words.concat(canvases);
})()`

// drawn gives what the charts of a page look like.
const drawn = `JSON.stringify([...document.querySelectorAll("canvas")].map((c) => c.toDataURL()))`

// Whatever a screen is set to, a page is printed dark on white: charts as by day, and
// nothing that stood white on a colour.
func TestPrintedFromTheDark(t *testing.T) {
	s, tab := newServer(t), browser(t)
	s.send()
	do(t, tab, "wait for the history", chromedp.EmulateViewport(1400, 1000), chromedp.Navigate(s.pages), says("Line parted"), inHistory(),
		holds(`(fetch("/api/stays?berth=north-jetty-1").then((r) => r.json()).then((s) => { window.stays = s.stays.length; }), window.stays > 0)`))
	to := time.Now().UTC()
	charts := fmt.Sprintf("engineer?at=north-jetty-1&from=%s&to=%s", to.Add(-3*time.Minute).Format(time.RFC3339), to.Format(time.RFC3339))
	ready := holds(`document.querySelectorAll(".chart canvas").length >= 4 && !document.querySelector(".status").textContent`)
	byTheme := map[string]string{}
	for _, theme := range []string{"light", "dark"} {
		ask[string](t, tab, `document.cookie = "theme=`+theme+`; path=/"`)
		do(t, tab, "open", chromedp.Navigate(s.pages+charts), ready)
		byTheme[theme] = ask[string](t, tab, drawn)
	}
	if byTheme["light"] == byTheme["dark"] {
		t.Error("charts look alike by day and by night")
	}
	// Scripts get no frame while a page is printed: all is drawn by then.
	do(t, tab, "print", chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		if _, err := chromedp.Evaluate[bool](`addEventListener("beforeprint", () => queueMicrotask(() => { window.printed = `+drawn+`; })), true`)(ctx, tab); err != nil {
			return err
		}
		_, err := cdp.Call(ctx, tab, page.PrintToPDF, page.PrintToPDFParams{})
		return err
	}), holds("window.printed"))
	if ask[string](t, tab, "printed") != byTheme["light"] || ask[string](t, tab, drawn) != byTheme["dark"] {
		t.Error("charts as printed are not those of the day, or not those of the night again")
	}

	for _, path := range []string{"", "engineer?at=north-jetty-1&last=3600", "berth/north-jetty-1", "plan/north-jetty-1", "deck", "log", "lines", "performance", "report?berth=north-jetty-1"} {
		do(t, tab, "open "+path, chromedp.Navigate(s.pages+path), holds(`document.querySelector("main").innerText.length > 50 && document.querySelector("main :is(canvas, .sheet-of-mooring .label, .card, table)")`),
			laid("print"), holds(`document.documentElement.classList.contains("paper") || !document.querySelector("canvas")`))
		if found := ask[[]string](t, tab, pale); len(found) > 0 {
			t.Errorf("/%s: pale on paper: %q", path, found)
		}
		do(t, tab, "back on the screen", laid(""))
	}
}
