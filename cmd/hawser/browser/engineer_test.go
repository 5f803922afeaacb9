package browser_test

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
)

// inHistory waits until the history has what was sent: it follows the journal.
func inHistory() chromedp.Action[chromedp.Void] {
	return holds(`(fetch("/api/spectrum?" + new URLSearchParams({ berth: "north-jetty-1",
		channel: "1/tension", from: new Date(Date.now() - 3600e3).toISOString(), to: new Date().toISOString() })).then((r) => r.json()).then((s) => { window.segments = s.segments; }), window.segments > 2)`)
}

// The engineer's page: what was sent is drawn, a closer look is an address of its
// own that leads back, and what is shown can be had as a file.
func TestEngineer(t *testing.T) {
	s := newServer(t)
	s.send()
	tab := browser(t)
	do(t, tab, "wait for the history", chromedp.Navigate(s.pages), says("Line parted"), inHistory())
	do(t, tab, "open without a time: no more than there is of the stay", chromedp.Navigate(s.pages+"engineer"), shown(".chart canvas"),
		holds(`document.querySelector(".buttons [aria-pressed=true]")?.textContent === "10 min"`))
	do(t, tab, "open", chromedp.EmulateViewport(1400, 1000), chromedp.Navigate(s.pages+"engineer?last=3600"), shown(".chart canvas"),
		holds(`document.querySelectorAll(".chart canvas").length >= 5`), says("Line parted"), says("Line 4"), says("Correlation"))
	nothingAgainst(t, tab)
	all := ask[string](t, tab, "location.search")

	// A drag across the loads looks closer, on all charts alike.
	box := ask[[]float64](t, tab, `{ const b = document.querySelector(".chart .u-over").getBoundingClientRect(); [b.left, b.top, b.width] }`)
	drag(t, tab, box[0]+0.90*box[2], box[0]+0.99*box[2], box[1]+50)
	do(t, tab, "look closer", holds(`location.search.includes("from=") && !document.querySelector(".status").textContent`),
		holds(`document.querySelector(".plots").lastElementChild.querySelector("canvas")?.width > 0`)) // made once its place has a width
	span := ask[float64](t, tab, `{ const q = new URLSearchParams(location.search); (Date.parse(q.get("to")) - Date.parse(q.get("from"))) / 1000 }`)
	if span < 200 || span > 450 { // 9 % of an hour
		t.Errorf("looks at %.0f s", span)
	}
	// Water and drafts come seldom, and are drawn all the same: colour stands over the
	// breadth that was recorded. Their names alone stand over a seventh.
	if wide := ask[int](t, tab, `{
		const canvas = document.querySelector(".plots").lastElementChild.querySelector("canvas");
		const { width, height } = canvas, data = canvas.getContext("2d").getImageData(0, 0, width, height).data;
		let columns = 0;
		for (let x = 0; x < width; x++) {
			let coloured = false;
			for (let y = 0; y < height && !coloured; y++) {
				const at = 4 * (y * width + x), r = data[at], g = data[at + 1], b = data[at + 2];
				coloured = Math.max(r, g, b) - Math.min(r, g, b) > 60;
			}
			columns += coloured ? 1 : 0;
		}
		Math.round(100 * columns / width)
	}`); wide < 25 {
		t.Errorf("water and drafts are drawn over %d %% of the chart", wide)
	}
	do(t, tab, "and back", holds(`(history.back(), true)`), holds(fmt.Sprintf("location.search === %q", all)))

	// Only some lines, and as shares: the address says so and brings it back.
	ask[*int](t, tab, `document.querySelectorAll("legend button")[1].click(), null`)
	do(t, tab, "only the forward breast lines", holds(`location.search.includes("lines=3%2C4")`), holds(`!document.querySelector(".status").textContent`))
	do(t, tab, "look at the swing of one of them", says("What the swing of line 3 is made of"))
	link := ask[string](t, tab, "location.href")
	do(t, tab, "by the link", chromedp.Navigate(link), shown(".chart canvas"), holds(`document.querySelectorAll(".line-list input:checked").length === 2`))

	report := ask[string](t, tab, `fetch([...document.querySelectorAll("a.button")][1].href).then((r) => r.blob()).then((b) => b.type + " of " + document.querySelectorAll("a.button")[0].search.slice(0, 20))`)
	if report != "application/pdf of ?berth=north-jetty-1" {
		t.Errorf("the report of the stay is %s", report)
	}
	csv := ask[string](t, tab, `new Promise((done) => {
		URL.createObjectURL = (blob) => (blob.text().then(done), "blob:none");
		HTMLAnchorElement.prototype.click = () => {};
		[...document.querySelectorAll("button")].find((b) => b.textContent === "Download as CSV").click();
	})`)
	head, rows, _ := strings.Cut(csv, "\n")
	if !strings.HasPrefix(head, "time,1/tension_mean,1/tension_min,1/tension_max,") || strings.Count(rows, "\n") < 10 {
		t.Errorf("the file begins %q and has %d rows", head, strings.Count(rows, "\n"))
	}
	// Where nothing was recorded the newest stay is a touch away.
	do(t, tab, "look where nothing is", chromedp.Navigate(s.pages+"engineer?at=north-jetty-1&from=2020-01-01T00:00:00Z&to=2020-01-02T00:00:00Z"), says("Nothing was recorded in this time."),
		click(`.plots > p button`), holds(`document.querySelectorAll(".line-list input").length === 12 && !location.search.includes("2020")`))
	accessible(t, tab)
	nothingAgainst(t, tab)
}

// drag moves the mouse with its button down.
func drag(t *testing.T, tab context.Context, from, to, y float64) {
	t.Helper()
	mouse := func(kind input.DispatchMouseEventType, x float64) chromedp.Action[chromedp.Void] {
		return chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
			_, err := cdp.Call(ctx, tab, input.DispatchMouseEvent, input.DispatchMouseEventParams{Type: kind, X: x, Y: y, Button: "left", ClickCount: 1})
			return err
		})
	}
	do(t, tab, "drag", mouse("mouseMoved", from), mouse("mousePressed", from), mouse("mouseMoved", (from+to)/2), mouse("mouseMoved", to), mouse("mouseReleased", to))
}
