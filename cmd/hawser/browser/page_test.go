// Package browser_test looks at the page of the real program in a real browser,
// as its user would. It runs when HAWSER_REAL_SERVERS is 1, and then a browser
// that cannot be had is a failure.
package browser_test

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"hawser/ingest/planfile"
	"hawser/ingest/simulate/recorded"
)

var (
	picture = flag.String("picture", "", "write a picture of the page to this file")
	hawser  string // the program, built for these tests
	plan    = filepath.Join("..", "..", "..", "testdata", "plans", "tanker-12.yaml")
)

func TestMain(m *testing.M) {
	flag.Parse()
	if os.Getenv("HAWSER_REAL_SERVERS") != "1" {
		fmt.Println("tests in a real browser run with HAWSER_REAL_SERVERS=1")
		return
	}
	dir, err := os.MkdirTemp("", "hawser-browser-")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	hawser = filepath.Join(dir, "hawser")
	if out, err := exec.Command("go", "build", "-o", hawser, "hawser/cmd/hawser").CombinedOutput(); err != nil {
		fmt.Fprintf(os.Stderr, "build: %v\n%s", err, out)
		os.Exit(1)
	}
	code := m.Run()
	_ = os.RemoveAll(dir)
	os.Exit(code)
}

// serve starts the program and gives the addresses it prints.
func serve(t *testing.T, args ...string) (pages, grpc string) {
	t.Helper()
	args = append([]string{"serve", "--data", t.TempDir(), "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"}, args...)
	cmd := exec.Command(hawser, args...)
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Signal(os.Interrupt)
		_ = cmd.Wait()
	})
	for sc := bufio.NewScanner(out); sc.Scan(); {
		what, where, _ := strings.Cut(sc.Text(), " ")
		switch where = strings.TrimSpace(where); what {
		case "pages":
			pages = where
		case "gRPC":
			return pages, where
		}
	}
	t.Fatal("the program printed no addresses")
	return "", ""
}

// record writes a recording in which a brake slips and a line parts.
func record(t *testing.T) string {
	t.Helper()
	p, _, err := planfile.Load(plan)
	if err != nil {
		t.Fatal(err)
	}
	return recorded.Write(t, p, recorded.Demo(p, 160*time.Second))
}

// browser gives a tab of its own.
func browser(t *testing.T, more ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	o := append(slices.Concat(chromedp.DefaultExecAllocatorOptions[:], more),
		chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true))
	ctx, cancelAll := chromedp.NewExecAllocator(t.Context(), o...)
	ctx, cancelTab := chromedp.NewContext(ctx)
	t.Cleanup(func() {
		cancelTab()
		cancelAll()
	})
	if _, err := chromedp.Run(ctx, chromedp.Navigate("about:blank")); err != nil {
		t.Fatalf("start the browser: %v", err)
	}
	return ctx
}

// says waits until the page's main part has a text.
func says(text string) chromedp.Action[chromedp.Void] {
	return chromedp.Poll[chromedp.Void](fmt.Sprintf("document.querySelector('main').innerText.includes(%q)", text))
}

// shoot writes a picture of a tab's whole page.
func shoot(t *testing.T, tab context.Context, path string) {
	t.Helper()
	png, err := chromedp.Run(tab, chromedp.FullScreenshot(100))
	if err == nil {
		err = os.WriteFile(path, png, 0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// do runs steps in a tab.
func do(t *testing.T, tab context.Context, what string, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	ctx, cancel := context.WithTimeout(tab, time.Minute)
	defer cancel()
	if _, err := chromedp.Run(ctx, chromedp.Steps(steps...)); err != nil {
		t.Fatalf("%s: %v", what, err)
	}
}

// The page is opened before there is a berth; readings come in, alarms appear by
// themselves, one is acknowledged, and a second page sees that.
func TestAlarmsAppearAndAreTakenOn(t *testing.T) {
	pages, grpc := serve(t)
	first, second := browser(t), browser(t)
	do(t, first, "open the first page", chromedp.EmulateViewport(1280, 910), chromedp.Navigate(pages))
	do(t, second, "open the second page", chromedp.EmulateViewport(390, 844), chromedp.Navigate(pages))
	past := time.Now().Add(-160 * time.Second).UTC().Format(time.RFC3339)
	if out, err := exec.Command(hawser, "send", "--plan", plan, "--to", grpc, "--starting", past, record(t)).CombinedOutput(); err != nil {
		t.Fatalf("send: %v\n%s", err, out)
	}
	do(t, first, "see the alarms", says("Line parted"), says("Brake slip"))
	if *picture != "" {
		shoot(t, first, *picture)
	}
	do(t, second, "see them on the second page", says("Line parted"))
	wider, err := chromedp.Run(second, chromedp.Evaluate[bool]("document.documentElement.scrollWidth > innerWidth"))
	if err != nil || wider {
		t.Fatalf("the page is wider than a phone: %v, err %v", wider, err)
	}
}
