package browser_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"hawser/ingest/planfile"
	"hawser/ingest/simulate"
	"hawser/ingest/simulate/recorded"
)

// A breast line without a load pin parts. Until somebody has looked, the drawing asks
// whether it holds, gives it no load, and nothing is reckoned that it would bear.
func TestALineThatMayHavePartedIsNotDrawnAsIfItHeld(t *testing.T) {
	const length = 10 * time.Minute // the watch has to have learnt how she moves
	text, err := os.ReadFile(plan)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "plan.yaml")
	if err := os.WriteFile(path, []byte(strings.Replace(string(text), `id: "10",`, `id: "10", instrumented: false,`, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	p, _, err := planfile.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	story := recorded.Demo(p, length)
	gust := story.Events[0]
	gust.At = length - 105*time.Second
	story.Events = []simulate.Event{gust, {At: length - 20*time.Second, Kind: simulate.Part, Line: "10"}}
	s, tab := newServer(t), browser(t)
	past := time.Now().Add(-length).UTC().Format(time.RFC3339)
	if out, err := exec.Command(hawser, "send", "--plan", path, "--to", s.grpc, "--starting", past, recorded.Write(t, p, story)).CombinedOutput(); err != nil {
		t.Fatalf("send: %v\n%s", err, out)
	}
	do(t, tab, "see it in doubt", chromedp.EmulateViewport(1440, 1000), chromedp.Navigate(s.pages+"berth/north-jetty-1"),
		says("Redistribution"), says("counting for nothing here until somebody says that it holds: line 10"), says("11 of 11 lines are measured"))
	if name := ask[string](t, tab, `document.querySelector('.label[data-line="10"]').getAttribute("aria-label")`); !strings.Contains(name, "holds?") || strings.Contains(name, "kN") {
		t.Errorf("the line is named %q", name)
	}
	if lost := ask[bool](t, tab, `document.querySelector(".loss button").click(), [...document.querySelectorAll(".losses tbody th")].some((e) => e.textContent === "10")`); lost {
		t.Error("its loss is told")
	}
	shootAs(t, tab, "doubt")
	accessible(t, tab)
	do(t, tab, "see it on deck", chromedp.Navigate(s.pages+"deck?berth=north-jetty-1"),
		holds(`[...document.querySelectorAll(".tile")].some((e) => e.querySelector(".id").textContent === "10" && e.textContent.includes("Redistribution"))`))
	do(t, tab, "back to the berth", chromedp.Navigate(s.pages+"berth/north-jetty-1"), says("until somebody says that it holds: line 10"))
	do(t, tab, "say that it holds", click(`button[aria-label^="Holds again: Redistribution"]`), shown("dialog.deed"),
		chromedp.SendKeys(`dialog.deed input[name="by"]`, "A. Mate"), chromedp.SendKeys(`dialog.deed textarea`, "made fast again"))
	accessible(t, tab)
	do(t, tab, "see it hold", click(`dialog.deed button[type="submit"]`), holds(`document.querySelector('.label[data-line="10"]').dataset.form === "no-pin"`),
		holds(`[...document.querySelectorAll(".losses tbody th")].some((e) => e.textContent === "10")`), says("made fast again"))
	shootAs(t, tab, "holds")
	// Just after one parting the ship does not lie as the watch has learnt, so that it
	// could not tell the next.
	do(t, tab, "see that its parting is not looked for", click(`.label[data-line="10"]`),
		says("Its parting"), says("not looked for now"))
	nothingAgainst(t, tab)
}
