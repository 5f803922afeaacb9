// Package browser_test looks at the pages of the real program in a real browser,
// as their user would. It runs when HAWSER_REAL_SERVERS is 1, and then a browser
// that cannot be had is a failure.
package browser_test

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/security"
	"github.com/chromedp/chromedp"

	"hawser/ingest/planfile"
	"hawser/ingest/simulate/recorded"
	_ "hawser/services/web" // so that a change of the pages has these tests run anew
)

var (
	picture = flag.String("picture", "", "write a picture of the terminal page to this file")
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
	build := exec.Command("go", "build", "-o", hawser, "hawser/cmd/hawser")
	build.Env = append(os.Environ(), "CGO_ENABLED=0") // as it is deployed, and compiled already
	if out, err := build.CombinedOutput(); err != nil {
		fmt.Fprintf(os.Stderr, "build: %v\n%s", err, out)
		os.Exit(1)
	}
	code := m.Run()
	closeShared()
	_ = os.RemoveAll(dir)
	os.Exit(code)
}

// server is the program, serving.
type server struct {
	t     testing.TB
	args  []string
	cmd   *exec.Cmd
	pages string // URL
	grpc  string // address
}

// newServer starts the program on addresses of its own.
func newServer(t testing.TB, args ...string) *server {
	t.Helper()
	s := &server{t: t, args: append([]string{"serve", "--data", t.TempDir()}, args...)}
	s.start("127.0.0.1:0", "127.0.0.1:0")
	t.Cleanup(func() { s.stop(os.Interrupt) })
	return s
}

func (s *server) start(http, grpc string) {
	s.t.Helper()
	s.cmd = exec.Command(hawser, append(slices.Clone(s.args), "--http", http, "--grpc", grpc)...)
	out, err := s.cmd.StdoutPipe()
	if err == nil {
		err = s.cmd.Start()
	}
	if err != nil {
		s.t.Fatal(err)
	}
	for sc := bufio.NewScanner(out); sc.Scan(); {
		what, where, _ := strings.Cut(sc.Text(), " ")
		switch where = strings.TrimSpace(where); what {
		case "pages":
			s.pages = where
		case "gRPC":
			s.grpc = where
			return
		}
	}
	s.t.Fatal("the program printed no addresses")
}

func (s *server) stop(signal os.Signal) {
	_ = s.cmd.Process.Signal(signal)
	_ = s.cmd.Wait()
}

// restart kills the program and starts it again over the same data, at the same
// addresses.
func (s *server) restart() {
	s.t.Helper()
	http := strings.TrimSuffix(strings.TrimPrefix(s.pages, "http://"), "/")
	s.stop(os.Kill)
	s.start(http, s.grpc)
}

// send sends a recording in which a brake slips and a line parts, as if it ended
// now.
func (s *server) send(args ...string) {
	s.t.Helper()
	p, _, err := planfile.Load(plan)
	if err != nil {
		s.t.Fatal(err)
	}
	path := recorded.Write(s.t, p, recorded.Demo(p, 160*time.Second))
	past := time.Now().Add(-160 * time.Second).UTC().Format(time.RFC3339)
	args = append([]string{"send", "--plan", plan, "--to", s.grpc, "--starting", past}, append(args, path)...)
	if out, err := exec.Command(hawser, args...).CombinedOutput(); err != nil {
		s.t.Fatalf("send: %v\n%s", err, out)
	}
}

// watched keeps what the browser has against a page: what its policy forbade and
// what its script did not catch.
const watched = `window.against = [];
addEventListener("securitypolicyviolation", (e) => against.push("policy: " + e.violatedDirective + " " + e.blockedURI + " " + e.sample));
// A ResizeObserver that goes on in the next frame is told as an error and is none.
addEventListener("error", (e) => { if (!e.message.startsWith("ResizeObserver loop")) against.push("error: " + e.message); });
addEventListener("unhandledrejection", (e) => against.push("rejection: " + e.reason));`

// shared is the browser that the tests share: to start one takes longer than most of
// them look at a page.
var shared, closeShared = newBrowser()

// newBrowser gives a browser and what closes it. It starts as it is first used.
func newBrowser(more ...chromedp.ExecAllocatorOption) (context.Context, context.CancelFunc) {
	o := append(slices.Concat(chromedp.DefaultExecAllocatorOptions[:], more),
		chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true))
	ctx, cancelAll := chromedp.NewExecAllocator(context.Background(), o...)
	ctx, cancelTab := chromedp.NewContext(ctx)
	return ctx, func() {
		cancelTab()
		cancelAll()
	}
}

// startShared starts the shared browser. It lives as long as the context of this
// first run.
var startShared = sync.OnceValue(func() error {
	_, err := chromedp.Run(shared, chromedp.Navigate("about:blank"))
	return err
})

// browser gives a tab that shares nothing with another, cookies and storage neither,
// as in a private window; with options, in a browser of its own.
func browser(t testing.TB, more ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	var tab context.Context
	var closeTab context.CancelFunc
	if len(more) > 0 {
		tab, closeTab = newBrowser(more...)
	} else {
		if err := startShared(); err != nil {
			t.Fatalf("start the browser: %v", err)
		}
		tab, closeTab = chromedp.NewContext(shared, chromedp.WithNewBrowserContext())
	}
	t.Cleanup(closeTab)
	_, err := chromedp.Run(tab, chromedp.Steps(chromedp.Navigate("about:blank"), chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		_, err := cdp.Call(ctx, tab, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: watched})
		return err
	})))
	if err != nil {
		t.Fatalf("open a tab: %v", err)
	}
	return tab
}

// anyCertificate is for a browser that does not know the trial's authority.
func anyCertificate(t testing.TB, tab context.Context) {
	t.Helper()
	do(t, tab, "take any certificate", chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		_, err := cdp.Call(ctx, tab, security.SetIgnoreCertificateErrors, security.SetIgnoreCertificateErrorsParams{Ignore: true})
		return err
	}))
}

// deadline is how long a test waits for what has to happen.
const deadline = 20 * time.Second

// do runs steps in a tab.
func do(t testing.TB, tab context.Context, what string, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	ctx, cancel := context.WithTimeout(tab, deadline)
	defer cancel()
	if _, err := chromedp.Run(ctx, chromedp.Steps(steps...)); err != nil {
		t.Fatalf("%s: %v; the page says %q", what, err, ask[string](t, tab, `document.body?.innerText ?? "nothing"`))
	}
}

// ask evaluates an expression in a tab; a promise is waited for.
func ask[T any](t testing.TB, tab context.Context, expression string) T {
	t.Helper()
	ctx, cancel := context.WithTimeout(tab, deadline)
	defer cancel()
	got, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatalf("%.200s: %v", expression, err)
	}
	return got
}

// holds waits until an expression is true, on whatever page the tab is by then.
func holds(expression string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		look := time.NewTicker(50 * time.Millisecond)
		defer look.Stop()
		for {
			yes, err := chromedp.Evaluate[bool]("!!("+expression+")")(ctx, tab)
			if yes && err == nil {
				return nil
			}
			select {
			case <-look.C:
			case <-ctx.Done():
				return fmt.Errorf("never: %s (%w)", expression, ctx.Err())
			}
		}
	})
}

// shown waits until an element can be seen.
func shown(selector string) chromedp.Action[chromedp.Void] {
	return holds(fmt.Sprintf("document.querySelector(%q)?.checkVisibility() === true", selector))
}

// gone waits until no element can be seen.
func gone(selector string) chromedp.Action[chromedp.Void] {
	return holds(fmt.Sprintf("document.querySelector(%q)?.checkVisibility() !== true", selector))
}

// click clicks on an element with the mouse, once it can be seen and has stopped moving:
// what is drawn above it meanwhile would have the mouse miss it.
func click(selector string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		if _, err := shown(selector)(ctx, tab); err != nil {
			return err
		}
		middle := chromedp.Evaluate[[]float64](fmt.Sprintf(`(() => { const e = document.querySelector(%q); e.scrollIntoView({ block: "center" });
			const r = e.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]; })()`, selector))
		look := time.NewTicker(50 * time.Millisecond)
		defer look.Stop()
		var was []float64
		for {
			at, err := middle(ctx, tab)
			if err != nil {
				return err
			}
			if slices.Equal(at, was) {
				_, err = chromedp.MouseClickXY(at[0], at[1])(ctx, tab)
				return err
			}
			was = at
			select {
			case <-look.C:
			case <-ctx.Done():
				return fmt.Errorf("never still: %s (%w)", selector, ctx.Err())
			}
		}
	})
}

// says waits until the page's main part has a text.
func says(text string) chromedp.Action[chromedp.Void] {
	return holds(fmt.Sprintf("document.querySelector('main')?.innerText.includes(%q)", text))
}

// shoot writes a picture of a tab's whole page.
func shoot(t testing.TB, tab context.Context, path string) {
	t.Helper()
	png, err := chromedp.Run(tab, chromedp.FullScreenshot(100))
	if err == nil {
		err = os.WriteFile(path, png, 0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// nothingAgainst fails where the browser has something against the page.
func nothingAgainst(t testing.TB, tab context.Context) {
	t.Helper()
	if found := ask[[]string](t, tab, "against"); len(found) > 0 {
		t.Errorf("the browser has against %s: %q", ask[string](t, tab, "location.pathname"), found)
	}
}

// link is a link to a server that can be cut.
type link struct {
	listener net.Listener
	to       string
	cut      chan bool
	ended    chan struct{}
}

// newLink gives one and where it begins.
func newLink(t *testing.T, to string) (l *link, url string) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	l = &link{listener: listener, to: strings.TrimSuffix(strings.TrimPrefix(to, "http://"), "/"), cut: make(chan bool), ended: make(chan struct{})}
	go l.run()
	t.Cleanup(func() {
		listener.Close()
		<-l.ended
	})
	return l, "http://" + listener.Addr().String() + "/"
}

// run carries connections until the listener is closed. While it is cut it takes
// none and has dropped those there were.
func (l *link) run() {
	defer close(l.ended)
	arrived := make(chan net.Conn)
	go func() {
		defer close(arrived)
		for {
			c, err := l.listener.Accept()
			if err != nil {
				return
			}
			arrived <- c
		}
	}()
	var open []net.Conn
	drop := func() {
		for _, c := range open {
			c.Close()
		}
		open = nil
	}
	defer drop()
	for cut := false; ; {
		select {
		case cut = <-l.cut:
			if cut {
				drop()
			}
		case c, ok := <-arrived:
			if !ok {
				return
			}
			up, err := net.Dial("tcp", l.to)
			if cut || err != nil {
				c.Close()
				continue
			}
			open = append(open, c, up)
			go carry(up, c)
			go carry(c, up)
		}
	}
}

// carry copies until one side ends, and then ends both.
func carry(to, from net.Conn) {
	defer to.Close()
	defer from.Close()
	b := make([]byte, 32<<10)
	for {
		n, err := from.Read(b)
		if n > 0 {
			if _, err := to.Write(b[:n]); err != nil {
				return
			}
		}
		if err != nil {
			return
		}
	}
}
