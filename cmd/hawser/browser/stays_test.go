package browser_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
)

// What is looked back at is a ship that has sailed: her loads are shares of her own
// lines' limits, whatever lies at the berth by now, and nothing is drawn over the
// time in which one load pin alone sent nothing.
func TestEngineerOfAShipThatSailed(t *testing.T) {
	s := newServer(t)
	dir, began := t.TempDir(), time.Now().Add(-3*time.Hour).Truncate(time.Second)
	sent := func(plan string, began time.Time, silent func(line int, at time.Duration) bool) {
		t.Helper()
		var rows strings.Builder
		rows.WriteString("time,channel,value\n")
		for at := time.Duration(0); at < 30*time.Minute; at += 2 * time.Second {
			for line := 1; line <= 5; line++ {
				if !silent(line, at) {
					fmt.Fprintf(&rows, "%d,%d/tension,%.1f\n", began.Add(at).UnixMilli(), line, 165+0.1*float64(at/time.Second%5))
				}
			}
		}
		recording := filepath.Join(dir, "recording.csv")
		if err := os.WriteFile(recording, []byte(rows.String()), 0o644); err != nil {
			t.Fatal(err)
		}
		if out, err := exec.Command(hawser, "send", "--plan", plan, "--to", s.grpc, "--replace-plan", recording).CombinedOutput(); err != nil {
			t.Fatalf("send: %v\n%s", err, out)
		}
	}
	text, err := os.ReadFile(plan)
	if err != nil {
		t.Fatal(err)
	}
	stronger := filepath.Join(dir, "stronger.yaml")
	if err := os.WriteFile(stronger, []byte(strings.NewReplacer("mbl_kN: 660", "mbl_kN: 1320", "Heron of Aldmouth", "Plover Reach").Replace(string(text))), 0o644); err != nil {
		t.Fatal(err)
	}
	sent(plan, began, func(line int, at time.Duration) bool { return line == 2 && at > 3*time.Minute && at < 27*time.Minute })
	sent(stronger, began.Add(2*time.Hour), func(line int, at time.Duration) bool {
		return line > 1 && (at+time.Duration(line)*30*time.Second)%(100*time.Second) > 85*time.Second
	})

	tab := browser(t)
	do(t, tab, "wait for both stays", chromedp.EmulateViewport(1400, 1000), chromedp.Navigate(s.pages),
		holds(`(fetch("/api/stays?berth=north-jetty-1").then((r) => r.json()).then((a) => { window.stays = a.stays; }), window.stays?.length === 2)`))
	then := func(lines string, from, to time.Time) string {
		return fmt.Sprintf("%sengineer?at=north-jetty-1&loads=share&lines=%s&from=%s&to=%s", s.pages, lines, from.UTC().Format(time.RFC3339), to.UTC().Format(time.RFC3339))
	}
	// share is what the page says of line 1 under the pointer, half way across.
	share := func(from, to time.Time) string {
		t.Helper()
		do(t, tab, "look back", chromedp.Navigate(then("1", from, to)), shown(".chart canvas"), holds(`!document.querySelector(".status").textContent`))
		box := ask[[]float64](t, tab, `{ const b = document.querySelector(".chart .u-over").getBoundingClientRect(); [b.left + b.width / 2, b.top + 100] }`)
		do(t, tab, "point at it", chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
			_, err := cdp.Call(ctx, tab, input.DispatchMouseEvent, input.DispatchMouseEventParams{Type: "mouseMoved", X: box[0], Y: box[1]})
			return err
		}),
			holds(`document.querySelector(".readout").textContent.includes("1\u00a0")`))
		_, said, _ := strings.Cut(ask[string](t, tab, `document.querySelector(".readout").textContent`), "1\u00a0")
		return strings.Fields(said)[0]
	}
	// 165 kN are half of the tanker's 330 and a quarter of the other's 660.
	if got := share(began, began.Add(30*time.Minute)); got != "50" {
		t.Errorf("165 kN of the ship that sailed are %s %% of her limit, want 50", got)
	}
	if got := share(began.Add(2*time.Hour), began.Add(150*time.Minute)); got != "25" {
		t.Errorf("165 kN of the ship that is there are %s %% of her limit, want 25", got)
	}

	// Line 2 sent for six minutes of thirty, while the others sent all along.
	do(t, tab, "a load pin that was silent", chromedp.Navigate(then("2", began, began.Add(30*time.Minute))), shown(".chart canvas"), holds(`!document.querySelector(".status").textContent`))
	if wide := ask[int](t, tab, `{
		const canvas = document.querySelector(".chart canvas"), { width, height } = canvas;
		const data = canvas.getContext("2d").getImageData(0, 0, width, height).data;
		let columns = 0;
		for (let x = 0; x < width; x++) {
			let coloured = false;
			for (let y = 0; y < height && !coloured; y++) {
				const at = 4 * (y * width + x), c = [data[at], data[at + 1], data[at + 2]];
				coloured = Math.max(...c) - Math.min(...c) > 60;
			}
			columns += coloured ? 1 : 0;
		}
		Math.round(100 * columns / width)
	}`); wide < 10 || wide > 40 {
		t.Errorf("line 2 is drawn over %d %% of the chart, want the 20 %% in which it sent", wide)
	}

	// Over hours a line is of means, and says so: of more than a few the peaks are not drawn.
	for lines, want := range map[string]string{"1,2,3,4,5": "means of 10 s: a peak in it was higher", "1,2,3": "means of 10 s, within the least and the greatest in it"} {
		do(t, tab, "over hours", chromedp.Navigate(then(lines, began, began.Add(150*time.Minute))), shown(".chart canvas"), holds(`!document.querySelector(".status").textContent`))
		if said := ask[string](t, tab, `document.querySelector(".chart figcaption").textContent`); !strings.Contains(strings.ReplaceAll(said, "\u00a0", " "), want) {
			t.Errorf("lines %q: %q does not say %q", lines, said, want)
		}
	}

	// The others came and went all the while: some fifty alarms, which are marked and do
	// not hide the loads.
	do(t, tab, "many alarms", chromedp.Navigate(then("1", began.Add(2*time.Hour), began.Add(150*time.Minute))), shown(".chart canvas"),
		holds(`document.querySelectorAll(".past li").length > 40`), holds(`!document.querySelector(".status").textContent`))
	if ruled := ask[int](t, tab, `{
		const canvas = document.querySelector(".chart canvas"), { width, height } = canvas;
		const data = canvas.getContext("2d").getImageData(0, 0, width, height).data;
		let columns = 0;
		for (let x = 0; x < width; x++) {
			let coloured = 0;
			for (let y = 0; y < height; y++) {
				const at = 4 * (y * width + x), c = [data[at], data[at + 1], data[at + 2]];
				coloured += Math.max(...c) - Math.min(...c) > 40 ? 1 : 0;
			}
			columns += coloured > height / 2 ? 1 : 0;
		}
		columns
	}`); ruled > 0 {
		t.Errorf("%d columns of the loads are covered from top to bottom", ruled)
	}
	nothingAgainst(t, tab)
}
