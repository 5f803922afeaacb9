package browser_test

import (
	"os/exec"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"hawser/ingest/planfile"
	"hawser/ingest/simulate/recorded"
)

// A gateway that sends now what it measured an hour ago is live, and no page shows its
// loads as those of now without a word.
func TestReadingsThatAreOldAsTheyComeIn(t *testing.T) {
	s := newServer(t)
	p, _, err := planfile.Load(plan)
	if err != nil {
		t.Fatal(err)
	}
	path := recorded.Write(t, p, recorded.Demo(p, 160*time.Second))
	send := exec.Command(hawser, "send", "--plan", plan, "--to", s.grpc, "--pace", "1",
		"--starting", time.Now().Add(-time.Hour).UTC().Format(time.RFC3339), path)
	if err := send.Start(); err != nil {
		t.Fatal(err)
	}
	end := sync.OnceFunc(func() {
		_ = send.Process.Kill()
		_ = send.Wait() // killed
	})
	t.Cleanup(end)
	tab := browser(t)
	for _, page := range []string{"", "berth/north-jetty-1", "deck?berth=north-jetty-1"} {
		do(t, tab, "open /"+page, chromedp.Navigate(s.pages+page), says("old by their own clock"))
	}
	end()
	for _, page := range []string{"berth/north-jetty-1", "deck?berth=north-jetty-1"} {
		do(t, tab, "and once nothing comes in, /"+page, chromedp.Navigate(s.pages+page), says("Not live"), says("old by their own clock"))
	}
	nothingAgainst(t, tab)
}
