package browser_test

import (
	"os/exec"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"hawser/ingest/planfile"
	"hawser/ingest/simulate"
	"hawser/ingest/simulate/recorded"
)

// Two lines part, the later first in the list of alarms: the page names both, in order,
// as a person would.
func TestTwoPartedLinesAreNamedTogether(t *testing.T) {
	const length = 4 * time.Minute
	p, _, err := planfile.Load(plan)
	if err != nil {
		t.Fatal(err)
	}
	story := recorded.Demo(p, length)
	gust := story.Events[0]
	gust.At = 2 * time.Minute
	story.Events = []simulate.Event{gust, {At: 150 * time.Second, Kind: simulate.Part, Line: "3"}, {At: 170 * time.Second, Kind: simulate.Part, Line: "10"}}
	s, tab := newServer(t), browser(t)
	past := time.Now().Add(-length).UTC().Format(time.RFC3339)
	if out, err := exec.Command(hawser, "send", "--plan", plan, "--to", s.grpc, "--starting", past, recorded.Write(t, p, story)).CombinedOutput(); err != nil {
		t.Fatalf("send: %v\n%s", err, out)
	}
	do(t, tab, "read of both", chromedp.EmulateViewport(1440, 1000), chromedp.Navigate(s.pages+"berth/north-jetty-1"),
		says("Parted, and counting for nothing here: lines 3 and 10."))
	// The first was told by readings that came over a minute after it.
	do(t, tab, "read when it was told", holds(`/raised [0-9:]+, told here [0-9:]+/.test(document.querySelector(".alarms").innerText)`))
	do(t, tab, "read that they are to be replaced", says("What has parted is to be replaced: another line out or tugs"))
	do(t, tab, "say that one was renewed", click(`button[aria-label^="Holds again: Line parted"]`), shown("dialog.deed"),
		chromedp.SendKeys(`dialog.deed input[name="by"]`, "A. Mate"), chromedp.SendKeys(`dialog.deed textarea`, "renewed"), click(`dialog.deed button[type="submit"]`),
		says("Parted, and counting for nothing here: line "), says("renewed"))
	do(t, tab, "read it in German", chromedp.Navigate(s.pages+"berth/north-jetty-1?lang=de"), says("Gebrochen, zählt hier nicht mehr: Leine "))
	nothingAgainst(t, tab)
}
