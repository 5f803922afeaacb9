package browser_test

import (
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// trial makes keys for the plan's berth and ship, and gives the folder and the
// tokens by the names of whose they are.
func trial(t *testing.T) (dir string, tokens map[string]string) {
	t.Helper()
	dir, tokens = filepath.Join(t.TempDir(), "trial"), map[string]string{}
	out, err := exec.Command(hawser, "keys", "--berth", "north-jetty-1", "--ship", "Heron of Aldmouth", dir).CombinedOutput()
	if err != nil {
		t.Fatalf("keys: %v\n%s", err, out)
	}
	for line := range strings.Lines(string(out)) {
		if who, token, ok := strings.Cut(strings.TrimSpace(line), " hawser_"); ok {
			name, _, _ := strings.Cut(who, "  ")
			tokens[name] = "hawser_" + token
		}
	}
	return dir, tokens
}

// On a server with access the page asks who is there. Whoever signs in sees it,
// takes an alarm on under their name, and sees nothing more once signed out.
func TestSignIn(t *testing.T) {
	dir, tokens := trial(t)
	s := newServer(t, "--config", filepath.Join(dir, "hawser.yaml"))
	s.send("--keys", dir)
	tab := browser(t)
	anyCertificate(t, tab)
	do(t, tab, "be asked", chromedp.EmulateViewport(390, 844), chromedp.Navigate(s.pages), says("Sign in"), says("Your token"))
	accessible(t, tab)
	do(t, tab, "sign in with a wrong token", chromedp.SendKeys("input[name=token]", "swordfish\r"), shown("[role=alert]"), says("Not signed in: the token is not known here."))
	do(t, tab, "sign in", chromedp.SendKeys("input[name=token]", tokens["acknowledge"]+"\r"), shown("body.page-terminal"), says("Line parted"))
	do(t, tab, "acknowledge",
		click(`button[aria-label^="Acknowledge: Line parted"]`),
		says("Acknowledged by acknowledge for the terminal"))
	noWider(t, tab)
	accessible(t, tab)
	nothingAgainst(t, tab)
	do(t, tab, "sign out", click(".signed button"), shown("input[name=token]"),
		chromedp.Navigate(s.pages), says("Your token"))
}

// A crew that follows a link to a page that is not theirs is told so and led on,
// by day and by night, on a desk and on a phone.
func TestTurnedAway(t *testing.T) {
	dir, tokens := trial(t)
	s := newServer(t, "--config", filepath.Join(dir, "hawser.yaml"))
	tab := browser(t)
	anyCertificate(t, tab)
	do(t, tab, "sign in", chromedp.EmulateViewport(1200, 600), chromedp.Navigate(s.pages), says("Your token"),
		chromedp.SendKeys("input[name=token]", tokens["crew of Heron of Aldmouth"]+"\r"), shown("body.page-terminal"))
	for _, theme := range []string{"light", "dark"} {
		do(t, tab, "follow a link", chromedp.Navigate(s.pages+"performance"), shown("body.page-refused"),
			says("crew of Heron of Aldmouth has not the role watch over the whole site."), gone("nav a[href='/performance']"))
		ask[string](t, tab, "document.documentElement.dataset.theme = '"+theme+"'")
		accessible(t, tab)
		do(t, tab, "take out a phone", chromedp.EmulateViewport(390, 844))
	}
	noWider(t, tab)
	nothingAgainst(t, tab)
	do(t, tab, "go on", click("main a"), shown("body.page-terminal"))
	do(t, tab, "sign in as somebody else", chromedp.Navigate(s.pages+"performance"), click("main form button"), says("Your token"),
		chromedp.SendKeys("input[name=token]", tokens["watch"]+"\r"), shown("body.page-performance"))
}
