package browser_test

import (
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// trial makes keys for the plan's berth and gives the folder and the token of a
// role.
func trial(t *testing.T, role string) (dir, token string) {
	t.Helper()
	dir = filepath.Join(t.TempDir(), "trial")
	out, err := exec.Command(hawser, "keys", "--berth", "north-jetty-1", dir).CombinedOutput()
	if err != nil {
		t.Fatalf("keys: %v\n%s", err, out)
	}
	for line := range strings.Lines(string(out)) {
		if words := strings.Fields(line); len(words) == 3 && words[0] == role {
			return dir, words[2]
		}
	}
	t.Fatalf("no token for %s:\n%s", role, out)
	return "", ""
}

// On a server with access the page asks who is there. Whoever signs in sees it,
// takes an alarm on under their name, and sees nothing more once signed out.
func TestSignIn(t *testing.T) {
	dir, token := trial(t, "acknowledge")
	s := newServer(t, "--config", filepath.Join(dir, "hawser.yaml"))
	s.send("--keys", dir)
	// The browser does not know the trial's authority.
	tab := browser(t, chromedp.Flag("ignore-certificate-errors", true))
	do(t, tab, "be asked", chromedp.EmulateViewport(390, 844), chromedp.Navigate(s.pages), says("Sign in"), says("Your token"))
	accessible(t, tab)
	do(t, tab, "sign in with a wrong token", chromedp.SendKeys("input[name=token]", "swordfish\r"), shown("[role=alert]"), says("Not signed in: the token is not known here."))
	do(t, tab, "sign in", chromedp.SendKeys("input[name=token]", token+"\r"), shown("body.page-terminal"), says("Line parted"))
	do(t, tab, "acknowledge",
		click(`button[aria-label^="Acknowledge: Line parted"]`),
		says("Acknowledged by acknowledge for the terminal"))
	noWider(t, tab)
	accessible(t, tab)
	nothingAgainst(t, tab)
	do(t, tab, "sign out", click(".signed button"), shown("input[name=token]"),
		chromedp.Navigate(s.pages), says("Your token"))
}
