package browser_test

import (
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

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
	pages, grpc := serve(t, "--config", filepath.Join(dir, "hawser.yaml"))
	past := time.Now().Add(-160 * time.Second).UTC().Format(time.RFC3339)
	if out, err := exec.Command(hawser, "send", "--plan", plan, "--to", grpc, "--keys", dir, "--starting", past, record(t)).CombinedOutput(); err != nil {
		t.Fatalf("send: %v\n%s", err, out)
	}
	// The browser does not know the trial's authority.
	tab := browser(t, chromedp.Flag("ignore-certificate-errors", true))
	do(t, tab, "be asked", chromedp.EmulateViewport(390, 844), chromedp.Navigate(pages), says("Sign in"), says("Your token"))
	if *picture != "" {
		shoot(t, tab, *picture+".signin.png")
	}
	do(t, tab, "sign in with a wrong token", chromedp.SendKeys("input[name=token]", "swordfish\r"), chromedp.WaitVisible("[role=alert]"), says("Not signed in: the token is not known here."))
	do(t, tab, "sign in", chromedp.SendKeys("input[name=token]", token+"\r"), chromedp.WaitVisible("body.page-terminal"), says("Line parted"))
	if *picture != "" {
		shoot(t, tab, *picture+".signed.png")
	}
	wider, err := chromedp.Run(tab, chromedp.Evaluate[bool]("document.documentElement.scrollWidth > innerWidth"))
	if err != nil || wider {
		t.Errorf("the page is wider than a phone: %v, err %v", wider, err)
	}
	do(t, tab, "sign out", chromedp.Click(".signed button"), chromedp.WaitVisible("input[name=token]"),
		chromedp.Navigate(pages), says("Your token"))
}
