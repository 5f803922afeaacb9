package browser_test

import (
	"context"
	"flag"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/heapprofiler"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/performance"
	"github.com/chromedp/cdproto/systeminfo"
	"github.com/chromedp/chromedp"
)

var soak = flag.Duration("soak", 4*time.Minute, "how long a page is watched by the benchmarks of what it costs")

// liveFleet is a server with eleven minutes of so many berths behind it, and fed as
// time goes until the benchmark ends.
func liveFleet(b *testing.B, berths int) (*server, *fleet) {
	s := newServer(b)
	f := newFleet(b, s.grpc, berths)
	began := time.Now().Add(-11 * time.Minute)
	f.send(b.Context(), "past", began, 0, 11*time.Minute, 0)
	ctx, cancel := context.WithCancel(b.Context())
	sent := make(chan struct{})
	go func() {
		defer close(sent)
		f.send(ctx, "now", began, time.Since(began), 24*time.Hour, 1)
	}()
	b.Cleanup(func() {
		cancel()
		<-sent
	})
	return s, f
}

// BenchmarkTerminalPage watches what the terminal page costs a browser over twenty
// berths of sixteen lines with two updates a second: processor of all the browser's
// processes, in per cent of one core; the heap after garbage collection, and what
// it would be after eight hours by the straight line through it.
//
//	HAWSER_REAL_SERVERS=1 go test ./cmd/hawser/browser -run '^$' -bench TerminalPage -benchtime 1x -soak 10m
func BenchmarkTerminalPage(b *testing.B) {
	s, _ := liveFleet(b, 20)
	tab := browser(b)
	do(b, tab, "open", chromedp.EmulateViewport(1920, 1080), chromedp.Navigate(s.pages), holds(`document.querySelectorAll(".card").length === 20`),
		chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
			return threadTime(ctx, t)
		}))
	for b.Loop() {
		watch(b, tab)
	}
}

func watch(b *testing.B, tab context.Context) {
	time.Sleep(20 * time.Second) // what is made once is made
	const samples = 8
	var at, heap [samples]float64
	began, cpu0, busy0 := time.Now(), processor(b, tab), metric(b, tab, "TaskDuration")
	for i := range samples {
		at[i], heap[i] = time.Since(began).Hours(), heapMB(b, tab)
		if i < samples-1 {
			time.Sleep(*soak / (samples - 1))
		}
	}
	passed := time.Since(began).Seconds()
	b.ReportMetric(100*(processor(b, tab)-cpu0)/passed, "%core")
	b.ReportMetric(100*(metric(b, tab, "TaskDuration")-busy0)/passed, "%main-thread")
	slope, level := line(at[:], heap[:])
	b.ReportMetric(level, "MB-heap")
	b.ReportMetric(level+8*slope, "MB-heap-after-8h")
	b.ReportMetric(metric(b, tab, "Nodes"), "nodes")
}

// threadTime has metrics told in processor time, not in time that passes: a busy
// machine does not change them.
func threadTime(ctx context.Context, t *chromedp.Target) error {
	_, err := cdp.Call(ctx, t, performance.Enable, performance.EnableParams{TimeDomain: performance.EnableTimeDomainThreadTicks})
	return err
}

// line is the straight line through points, by least squares.
func line(x, y []float64) (slope, level float64) {
	var mx, my, xx, xy float64
	for i := range x {
		mx, my = mx+x[i]/float64(len(x)), my+y[i]/float64(len(x))
	}
	for i := range x {
		xx, xy = xx+(x[i]-mx)*(x[i]-mx), xy+(x[i]-mx)*(y[i]-my)
	}
	return xy / xx, my - xy/xx*mx
}

// processor is what all processes of the browser have used, seconds.
func processor(b testing.TB, tab context.Context) float64 {
	b.Helper()
	got, err := cdp.Call(tab, chromedp.FromContext(tab).Browser, systeminfo.GetProcessInfo, cdp.Empty{})
	if err != nil {
		b.Fatal(err)
	}
	sum := 0.0
	for _, p := range got.ProcessInfo {
		sum += p.CPUTime
	}
	return sum
}

func metric(b testing.TB, tab context.Context, name string) (value float64) {
	b.Helper()
	do(b, tab, name, chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		got, err := cdp.Call(ctx, t, performance.GetMetrics, cdp.Empty{})
		for _, m := range got.Metrics {
			if m.Name == name {
				value = m.Value
			}
		}
		return err
	}))
	return value
}

// heapMB is the heap of the page's script after garbage collection.
func heapMB(b testing.TB, tab context.Context) float64 {
	b.Helper()
	do(b, tab, "collect garbage", chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, heapprofiler.CollectGarbage, cdp.Empty{})
		return err
	}))
	return metric(b, tab, "JSHeapUsedSize") / (1 << 20)
}

// firstView notes when the figures of all berths are first painted, ms after the
// navigation began.
const firstView = `new MutationObserver((_, o) => {
  const figures = document.querySelectorAll(".card .lines b");
  if (figures.length < 320 || figures[319].textContent === "") return;
  o.disconnect();
  requestAnimationFrame(() => setTimeout(() => { window.firstView = performance.now(); }));
}).observe(document, { childList: true, subtree: true, characterData: true });`

// BenchmarkFirstView opens the terminal page over twenty berths of sixteen lines on
// an emulated link of 1 Mbit/s on which each request takes 600 ms, and reports when
// all its figures stand there.
//
//	HAWSER_REAL_SERVERS=1 go test -run '^$' -bench FirstView -benchtime 5x ./cmd/hawser/browser
func BenchmarkFirstView(b *testing.B) {
	s := newServer(b)
	f := newFleet(b, s.grpc, 20)
	f.send(b.Context(), "past", time.Now().Add(-11*time.Minute), 0, 11*time.Minute, 0)
	var sum, worst, size, arrived, busy, n float64
	for b.Loop() {
		b.StopTimer()
		tab := browser(b) // of its own: what another page's stream still owes the link would count here
		do(b, tab, "a slow link", slowLink())
		before := metric(b, tab, "TaskDuration")
		b.StartTimer()
		do(b, tab, "open", chromedp.Navigate(s.pages), holds("window.firstView > 0"))
		busy += metric(b, tab, "TaskDuration") - before
		took := ask[float64](b, tab, "window.firstView")
		size = ask[float64](b, tab, `performance.getEntriesByType("navigation")[0].encodedBodySize`)
		arrived += ask[float64](b, tab, `performance.getEntriesByType("navigation")[0].responseEnd`)
		sum, worst, n = sum+took, max(worst, took), n+1
	}
	b.ReportMetric(sum/n, "ms-mean")
	b.ReportMetric(arrived/n, "ms-arrived")
	b.ReportMetric(1000*busy/n, "ms-processor")
	b.ReportMetric(worst, "ms-worst")
	b.ReportMetric(size/1000, "kB")
}

// slowLink puts a tab on a link of 1 Mbit/s on which each request takes 600 ms, with
// nothing kept from before.
func slowLink() chromedp.Action[chromedp.Void] {
	slow := &network.Conditions{Latency: 600, DownloadThroughput: 1e6 / 8, UploadThroughput: 1e6 / 8}
	return chromedp.Steps(chromedp.EmulateViewport(1920, 1080), chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		if err := threadTime(ctx, t); err != nil {
			return err
		}
		if _, err := cdp.Call(ctx, t, network.Enable, network.EnableParams{}); err != nil {
			return err
		}
		if _, err := cdp.Call(ctx, t, network.SetCacheDisabled, network.SetCacheDisabledParams{CacheDisabled: true}); err != nil {
			return err
		}
		if _, err := cdp.Call(ctx, t, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: firstView}); err != nil {
			return err
		}
		_, err := cdp.Call(ctx, t, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{MatchedNetworkConditions: []*network.Conditions{slow}})
		return err
	}))
}

// BenchmarkBerthPage is BenchmarkTerminalPage for the page of one berth of sixteen
// lines.
func BenchmarkBerthPage(b *testing.B) {
	s, f := liveFleet(b, 1)
	tab := browser(b)
	do(b, tab, "open", chromedp.EmulateViewport(1920, 1080), chromedp.Navigate(s.pages+"berth/"+f.plans[0].Berth),
		holds(`document.querySelectorAll(".label").length === 16`), chromedp.Func(threadTime))
	for b.Loop() {
		watch(b, tab)
	}
}
