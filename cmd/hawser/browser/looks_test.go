package browser_test

import (
	"context"
	_ "embed"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// axe is axe-core 4.14.1 (Mozilla Public License 2.0, axe/LICENSE), the checks of
// the Web Content Accessibility Guidelines that a program can make. It is for these
// tests only.
//
//go:embed axe/axe.min.js
var axe string

// accessible fails where a page breaks WCAG 2.2 at level AA.
func accessible(t testing.TB, tab context.Context) {
	t.Helper()
	ask[*int](t, tab, axe+";null")
	found := ask[struct {
		Against []string
		Passed  int
	}](t, tab, `axe.run(document, { resultTypes: ["violations"], runOnly: ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"] }).then((r) => ({ passed: r.passes.length, against:
		r.violations.map((v) => v.id + ": " + v.help + ": " + v.nodes.slice(0, 3).map((n) => n.target.join(" ") + " " + n.failureSummary.slice(0, 200)).join(" | ")) }))`)
	for _, f := range found.Against {
		t.Errorf("%s breaks %s", ask[string](t, tab, "location.pathname"), f)
	}
	if found.Passed < 5 {
		t.Errorf("only %d checks passed: the page was not looked at", found.Passed)
	}
}

// noWider fails where a page is wider than its screen.
func noWider(t testing.TB, tab context.Context) {
	t.Helper()
	if got := ask[[]int](t, tab, "[document.documentElement.scrollWidth, innerWidth]"); got[0] > got[1] {
		t.Errorf("%s is %d wide on a screen of %d", ask[string](t, tab, "location.pathname"), got[0], got[1])
	}
}

// media has the browser prefer something.
func media(features ...string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		var p emulation.SetEmulatedMediaParams
		for pair := range slices.Chunk(features, 2) {
			p.Features = append(p.Features, &emulation.MediaFeature{Name: pair[0], Value: pair[1]})
		}
		_, err := cdp.Call(ctx, tab, emulation.SetEmulatedMedia, p)
		return err
	})
}

// zone puts the browser into a time zone.
func zone(name string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		_, err := cdp.Call(ctx, tab, emulation.SetTimezoneOverride, emulation.SetTimezoneOverrideParams{TimezoneID: name})
		return err
	})
}

// Every page that a link leads to, and what is said of a berth there is not, is in
// order on a phone, a desk and a wall, by day and by night: it fits, axe finds
// nothing, and its policy lets it do all that it does.
func TestEveryPageInEveryLight(t *testing.T) {
	s := newServer(t)
	s.send()
	tab := browser(t)
	do(t, tab, "open", chromedp.Navigate(s.pages), says("Line parted"))
	paths := ask[[]string](t, tab, `[...document.querySelectorAll(".top nav a")].map((a) => a.getAttribute("href"))`)
	if !slices.Contains(paths, "/") || !slices.Contains(paths, "/performance") {
		t.Fatalf("links lead to %v", paths)
	}
	paths = append(paths, "/?berth=nowhere")
	for _, path := range paths {
		for _, look := range []struct {
			width, height int64
			media         []string
		}{
			{1920, 1080, []string{"prefers-color-scheme", "light"}},
			{390, 844, []string{"prefers-color-scheme", "dark"}},
			{3840, 2160, []string{"prefers-color-scheme", "dark", "prefers-reduced-motion", "reduce"}},
			{320, 700, []string{"prefers-color-scheme", "light"}}, // reflow: WCAG 2.2, 1.4.10
		} {
			do(t, tab, "look at "+path, media(look.media...), chromedp.EmulateViewport(look.width, look.height), chromedp.Navigate(s.pages+path[1:]),
				holds(`document.querySelector("main").childElementCount > 0 && document.querySelector("#clock").textContent !== ""`))
			noWider(t, tab)
			accessible(t, tab)
			nothingAgainst(t, tab)
		}
	}
}

// Nothing moves for who wants it still, and the chosen theme goes before the
// device's.
func TestThemeAndMotion(t *testing.T) {
	s := newServer(t)
	tab := browser(t)
	ground := `getComputedStyle(document.body).backgroundColor`
	do(t, tab, "by day", media("prefers-color-scheme", "light"), chromedp.Navigate(s.pages))
	day := ask[string](t, tab, ground)
	do(t, tab, "by night", media("prefers-color-scheme", "dark"))
	night := ask[string](t, tab, ground)
	if day == night {
		t.Fatalf("day and night are both %s", day)
	}
	choose := func(theme string) {
		t.Helper()
		do(t, tab, "choose "+theme, click("#settings"), shown("dialog.settings"))
		ask[*int](t, tab, `{ const s = document.querySelector("dialog.settings select"); s.value = "`+theme+`"; s.dispatchEvent(new Event("change")); document.querySelector("dialog.settings button").click(); } null`)
		do(t, tab, "and close", holds(`document.querySelector("dialog") === null`))
	}
	choose("light")
	do(t, tab, "and come again", chromedp.Navigate(s.pages))
	if got := ask[string](t, tab, ground); got != day {
		t.Errorf("chosen light at night: %s, want %s", got, day)
	}
	choose("device")
	if got := ask[string](t, tab, ground); got != night {
		t.Errorf("as the device again: %s, want %s", got, night)
	}
	do(t, tab, "still", media("prefers-reduced-motion", "reduce"))
	if moving := ask[int](t, tab, `document.getAnimations().length`); moving != 0 {
		t.Errorf("%d animations", moving)
	}
}

// Twenty berths of sixteen lines are on one screen at once, with every figure.
func TestTwentyBerthsAtAGlance(t *testing.T) {
	s := newServer(t)
	f := newFleet(t, s.grpc, 20)
	f.load = eventful
	f.send(t.Context(), "past", time.Now().Add(-10*time.Minute), 0, 10*time.Minute, 0)
	tab := browser(t)
	do(t, tab, "open", chromedp.EmulateViewport(1920, 1080), chromedp.Navigate(s.pages), holds(`document.querySelectorAll(".card").length === 20`),
		holds(`document.querySelectorAll(".card .lines li").length === 320`), shown(".alarm.open"))
	if out := ask[[]string](t, tab, `[...document.querySelectorAll(".card")].filter((c) => { const r = c.getBoundingClientRect(); return r.top < 0 || r.bottom > innerHeight + 1 || r.right > innerWidth + 1 || r.width < 200 || r.height < 100; }).map((c) => c.innerText.slice(0, 20))`); len(out) > 0 {
		t.Errorf("not on the screen: %q", out)
	}
	if cut := ask[int](t, tab, `[...document.querySelectorAll(".card .lines b")].filter((b) => b.scrollWidth > b.clientWidth + 1 || b.textContent === "").length`); cut > 0 {
		t.Errorf("%d figures are cut off or missing", cut)
	}
	do(t, tab, "the berth of the worst alarm is first", holds(`document.querySelector(".alarm.open .where").textContent.endsWith(document.querySelector(".card .pick").textContent)`))
	accessible(t, tab)
	nothingAgainst(t, tab)
	if *picture != "" {
		portray(t, *picture)
	}
}

// portray writes a picture of twenty berths, at one of which a line has parted.
func portray(t *testing.T, path string) {
	t.Helper()
	s := newServer(t)
	f := newFleet(t, s.grpc, 19)
	f.load = eventful
	f.send(t.Context(), "past", time.Now().Add(-10*time.Minute), 0, 10*time.Minute, 0)
	s.send()
	tab := browser(t)
	do(t, tab, "open", chromedp.EmulateViewport(1920, 1080), chromedp.Navigate(s.pages), holds(`document.querySelectorAll(".card").length === 20`), says("Line parted"), says("Imbalance"))
	shoot(t, tab, path)
}

// eventful is calm but for a line that goes over its limit, one that nears it, one
// that carries more than its group and a load pin that stands still.
func eventful(berth, line int, at time.Duration) float64 {
	kN, s := calm(berth, line, at), at.Seconds()
	switch {
	case berth == 7 && line == 2:
		return kN + 1.2*max(0, s-150)
	case berth == 3 && line == 9:
		return kN + 0.45*max(0, s-60)
	case berth == 11 && line == 9:
		return 1.9 * kN
	case berth == 14 && line == 12 && s > 200:
		return 150
	}
	return kN
}
