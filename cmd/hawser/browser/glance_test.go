package browser_test

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"google.golang.org/protobuf/proto"
)

// Lines part at two berths, one of the longest name that a plan takes. The verdict says
// that the other alarms are not all of one weight, no count is cut off, and it is said
// what the figures are of.
func TestTwoPartingsAtAGlance(t *testing.T) {
	const long = "outer-container-terminal-north-quay-0004" // 40 characters
	text, err := os.ReadFile(plan)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "plan.yaml")
	if err := os.WriteFile(path, []byte(strings.Replace(string(text), "north-jetty-1", long, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	s, tab := newServer(t, "--plan", planPath("coaster-8")), browser(t)
	newFleet(t, s.grpc, 4).send(t.Context(), "past", time.Now().Add(-time.Minute), 0, time.Minute, 0)
	s.send()
	send(t, s.grpc, path, "second", time.Now().Add(-160*time.Second), 160*time.Second)
	do(t, tab, "see both", chromedp.EmulateViewport(1400, 900), chromedp.Navigate(s.pages), holds(`document.querySelectorAll(".card .flag.p-emergency").length === 2`),
		holds(`/and \d+ others, 1 of them an emergency$/.test(document.querySelector(".verdict .what").textContent)`), says("per cent of the working load limit"))
	do(t, tab, "when they have fallen silent too", says("not live for"))
	for _, width := range []int64{320, 360, 1000, 1400, 2560} {
		// The board lays itself out anew a frame after the page has another width.
		do(t, tab, fmt.Sprintf("see all of it %d px wide", width), chromedp.EmulateViewport(width, 900), holds(`document.querySelectorAll(".card").length === 7`),
			holds(`[...document.querySelectorAll(".card .state")].every((e) => e.textContent === "" || e.getBoundingClientRect().right <= e.closest(".card").getBoundingClientRect().right)`))
	}
	do(t, tab, "on a low screen", chromedp.EmulateViewport(1400, 500), holds(`document.querySelector(".side .alarms").getBoundingClientRect().bottom <= document.querySelector(".side > p").getBoundingClientRect().top`))
	// With a berth that nothing was heard of, no age is told as if all were well.
	do(t, tab, "see one that never sent", says("no readings since start-up"), holds(`[...document.querySelectorAll(".tiles .off")].some((e) => e.textContent === "Oldest reading–")`))
	nothingAgainst(t, tab)
}

// A load of 96.5 kN is 96 in the text of an alarm, a report and a table of the command
// line (IEEE 754, a half to even), so it is on a page.
func TestAHalfIsRoundedAsEverywhere(t *testing.T) {
	s, tab := newServer(t), browser(t)
	f := newFleet(t, s.grpc, 1)
	f.load = func(_, line int, _ time.Duration) float64 { return 96.5 + float64(line%2) }
	f.send(t.Context(), "past", time.Now().Add(-time.Minute), 0, time.Minute, 0)
	do(t, tab, "open", chromedp.EmulateViewport(1400, 900), chromedp.Navigate(s.pages+"deck"), holds(`document.querySelectorAll(".tile .load").length === 16`))
	if got := ask[string](t, tab, `[...document.querySelectorAll(".tile .load")].slice(0, 2).map((e) => e.textContent).join()`); got != "96,98" {
		t.Errorf("96.5 and 97.5 kN are %q", got)
	}
}

// Loads that creep up with the tide say nothing of every berth: a rise is told where it
// leads to the limit within two hours.
func TestASlowRiseIsNotTold(t *testing.T) {
	s, tab := newServer(t), browser(t)
	f := newFleet(t, s.grpc, 2)
	perMinute := []float64{0.3, 5} // kN; the limit is 570 kN
	f.load = func(berth, _ int, at time.Duration) float64 { return 120 + perMinute[berth]*at.Minutes() }
	f.send(t.Context(), "past", time.Now().Add(-4*time.Minute), 0, 4*time.Minute, 0)
	do(t, tab, "open", chromedp.EmulateViewport(1400, 900), chromedp.Navigate(s.pages), says("a minute"), says(" kn) from"))
	if got := ask[string](t, tab, `[...document.querySelectorAll(".card")].map((c) => c.innerText.match(/[+]\d+\s+kN a minute/)?.[0].replace("\u00a0", " ") ?? "no").sort().join()`); got != "+5 kN a minute,no" {
		t.Errorf("rises of 0.3 and 5 kN a minute are told as %q", got)
	}
}

// The wind is said alike everywhere, in knots as well: 1852 m an hour.
func TestWindInKnotsAsWell(t *testing.T) {
	s, tab := newServer(t), browser(t)
	f := newFleet(t, s.grpc, 1)
	f.send(t.Context(), "past", time.Now().Add(-time.Minute), 0, time.Minute, 0)
	for _, page := range []string{"", "berth/" + f.plans[0].Berth, "deck?berth=" + f.plans[0].Berth} {
		do(t, tab, "open", chromedp.EmulateViewport(390, 844), chromedp.Navigate(s.pages+page), holds(`document.querySelector("main").textContent.includes(" from 200°")`))
		said := ask[[]string](t, tab, `document.querySelector("main").textContent.match(/([\d.]+) m\/s \((\d+) kn\) from 200°/) ?? []`)
		if len(said) != 3 {
			t.Errorf("/%s does not say the wind in knots: %s", page, ask[string](t, tab, `document.querySelector("main").textContent.match(/.{12} from 200°/)[0]`))
			continue
		}
		var speed, knots float64
		if _, err := fmt.Sscan(said[1]+" "+said[2], &speed, &knots); err != nil || math.Abs(knots*1852/3600-speed) > 0.31 { // half a knot, and the decimal that is shown
			t.Errorf("/%s says %q", page, said[0])
		}
		noWider(t, tab)
	}
}

// Twenty-four lines, some with the longest name, and a phone: no digit of a load is cut
// off, which would make another load of it; the strips are drawn along, by keys as well.
func TestManyLinesOnAPhoneKeepTheirFigures(t *testing.T) {
	s, tab := newServer(t), browser(t)
	f := newFleet(t, s.grpc, 3)
	for i, l := range f.plans[0].Lines[:8] {
		more := proto.CloneOf(l)
		more.Id = fmt.Sprintf("Spare-line-no-%d-20ch", i)
		f.plans[0].Lines = append(f.plans[0].Lines, more)
	}
	f.send(t.Context(), "past", time.Now().Add(-time.Minute), 0, time.Minute, 0)
	for _, width := range []int64{320, 360, 1000, 1920} {
		do(t, tab, "open", chromedp.EmulateViewport(width, 900), chromedp.Navigate(s.pages), holds(`document.querySelectorAll(".card .lines li").length === 56`))
		if cut := ask[[]string](t, tab, `[...document.querySelectorAll(".card .lines b")].filter((b) => b.scrollWidth > b.clientWidth + 1 || b.textContent === "").map((b) => b.textContent)`); len(cut) > 0 {
			t.Errorf("%d px wide, cut off: %q", width, cut)
		}
		noWider(t, tab)
	}
	do(t, tab, "on a phone by keys", chromedp.EmulateViewport(360, 740), holds(`document.querySelectorAll(".bed[tabindex='0']").length === 1`))
	accessible(t, tab)
	nothingAgainst(t, tab)
}

// stripsDrawn is whether something is drawn in the middle of the first berth's strips.
const stripsDrawn = `((c) => c !== null && c.width > 9 && c.getContext("2d").getImageData(0, Math.round(c.height * 0.6), c.width, 1).data.some((v) => v > 0))(document.querySelector("canvas.strips"))`

// A board that is laid out anew, by an alarm more in the list or a window made wider,
// does not go blank for a frame: strips are painted at their new size with what was in
// them.
func TestStripsStayThroughAResize(t *testing.T) {
	s, tab := newServer(t), browser(t)
	newFleet(t, s.grpc, 1).send(t.Context(), "past", time.Now().Add(-time.Minute), 0, time.Minute, 0)
	do(t, tab, "open", chromedp.EmulateViewport(1400, 900), chromedp.Navigate(s.pages), holds(stripsDrawn))
	for range 5 {
		if !ask[bool](t, tab, `new Promise((painted) => {
			const c = document.querySelector("canvas.strips");
			c.style.width = c.clientWidth - 9 + "px";
			requestAnimationFrame(() => setTimeout(() => painted(`+stripsDrawn+`)));
		})`) {
			t.Fatal("blank in the frame in which it got its size")
		}
	}
	nothingAgainst(t, tab)
}
