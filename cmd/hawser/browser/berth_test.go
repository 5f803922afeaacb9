package browser_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"hawser/ingest/planfile"
	"hawser/ingest/simulate/recorded"
	"hawser/services/waittest"
)

func planPath(name string) string {
	return filepath.Join("..", "..", "..", "testdata", "plans", name+".yaml")
}

// send sends, as a source, so much of the demo's story as if it had begun then.
func send(t *testing.T, grpc, plan, source string, begun time.Time, length time.Duration) {
	t.Helper()
	p, _, err := planfile.Load(plan)
	if err != nil {
		t.Fatal(err)
	}
	path := recorded.Write(t, p, recorded.Demo(p, length))
	if out, err := exec.Command(hawser, "send", "--source", source, "--plan", plan, "--to", grpc, "--starting", begun.UTC().Format(time.RFC3339), path).CombinedOutput(); err != nil {
		t.Fatalf("send: %v\n%s", err, out)
	}
}

// recordedUntil waits for the store to have the tanker's wind up to a time.
func recordedUntil(t *testing.T, pages string, end time.Time) {
	t.Helper()
	q := url.Values{"berth": {"north-jetty-1"}, "channel": {"wind/speed"}, "from": {end.Add(-2 * time.Second).UTC().Format(time.RFC3339)}, "to": {end.UTC().Format(time.RFC3339)}}
	waittest.Until(t, "the wind in the store", func() error {
		resp, err := http.Get(pages + "api/history?" + q.Encode())
		if err != nil {
			return err
		}
		defer resp.Body.Close()
		var got []struct {
			Value []float64 `json:"value"`
		}
		if err := json.NewDecoder(resp.Body).Decode(&got); err != nil {
			return err
		}
		if len(got) == 0 || len(got[0].Value) == 0 {
			return errors.New("none")
		}
		return nil
	})
}

// shootAs writes a picture where pictures are asked for.
func shootAs(t *testing.T, tab context.Context, name string) {
	t.Helper()
	if *picture != "" {
		shoot(t, tab, strings.TrimSuffix(*picture, ".png")+"."+name+".png")
	}
}

// overlaps names texts and labels of the drawing that meet, which no eye could part,
// and texts that leave the sheet.
const overlaps = `(() => {
  const sheet = document.querySelector(".sheet-of-mooring"), all = sheet.getBoundingClientRect(), bad = [];
  const texts = [...sheet.querySelectorAll("text")].filter((t) => t.textContent && !t.closest("[hidden]"));
  const boxes = texts.map((t) => t.getBoundingClientRect());
  texts.forEach((t, i) => {
    const a = boxes[i];
    if (a.left < all.left - 1 || a.right > all.right + 1 || a.top < all.top - 1 || a.bottom > all.bottom + 1) bad.push(t.textContent + " leaves the sheet");
    for (let j = 0; j < i; j++) {
      const b = boxes[j];
      if (Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1 && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 2.5)
        bad.push(t.textContent + " meets " + texts[j].textContent);
    }
  });
  const labels = [...sheet.querySelectorAll(".label")], edges = labels.map((l) => l.querySelector(".box").getBoundingClientRect());
  labels.forEach((l, i) => {
    for (let j = 0; j < i; j++) {
      const a = edges[i], b = edges[j];
      if (Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1 && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 1)
        bad.push("the label of " + l.dataset.line + " meets that of " + labels[j].dataset.line);
    }
  });
  return JSON.stringify(bad);
})()`

// The berth's page shows the mooring live, a line that has parted by form and word,
// what follows from it, and the last minutes again, marked as past.
func TestBerthPage(t *testing.T) {
	s := newServer(t)
	tab := browser(t)
	begun := time.Now().Add(-150 * time.Second)
	send(t, s.grpc, plan, "first", begun, 40*time.Second)
	do(t, tab, "open", chromedp.EmulateViewport(1440, 1000), chromedp.Navigate(s.pages+"berth/north-jetty-1"),
		says("Heron of Aldmouth"), says("No alarm stands at this berth."), holds(`document.querySelectorAll(".losses tbody tr").length > 0`),
		holds(`document.querySelector(".hours .course") !== null`))
	shootAs(t, tab, "calm")
	accessible(t, tab)
	if n := ask[int](t, tab, `document.querySelectorAll(".label").length`); n != 12 {
		t.Errorf("%d labels, want those of 12 lines", n)
	}
	// The drawing is to scale: her length on the sheet is to the way between two
	// fenders as 183 m are to 84 m, by the plan.
	ratio := ask[float64](t, tab, `(() => {
	  const hull = document.querySelector(".hull").getBBox(), f = [...document.querySelectorAll(".fender")].map((e) => e.getBBox().x + e.getBBox().width / 2);
	  return hull.width / (Math.max(...f) - Math.min(...f));
	})()`)
	if want := 183.0 / 84; ratio < want-0.01 || ratio > want+0.01 {
		t.Errorf("her length is %.3f times the fenders' span, want %.3f", ratio, want)
	}

	// The lines named at the right of the hours ahead are named where they end, within
	// the height of a line of text.
	if off := ask[[]string](t, tab, `(() => {
	  const chart = document.querySelector(".hours"), size = parseFloat(getComputedStyle(chart.querySelector(".named")).fontSize);
	  const at = new Map([...chart.querySelectorAll(".named")].flatMap((e) => e.textContent.split(", ").map((id) => [id, e.getBBox().y + e.getBBox().height / 2])));
	  return chart.dataset.lines.split(" ").filter((id, k) => {
	    const path = chart.querySelector(".worst-" + k), end = path.getPointAtLength(path.getTotalLength());
	    return !(Math.abs(end.y - at.get(id)) < 1.3 * size);
	  });
	})()`); len(off) > 0 {
		t.Errorf("named off their ends: %q", off)
	}

	send(t, s.grpc, plan, "second", begun, 150*time.Second)
	do(t, tab, "see it part", says("Line parted"), holds(`document.querySelector('.label[data-form="parted"]') !== null`))
	shootAs(t, tab, "parted")
	do(t, tab, "read what is reckoned now", says("of 11 lines are measured"), says("Parted, and counting for nothing here: line "), says("by the means of the last minute"),
		says("has slipped: have its brake or turns looked at before it is worked"), says("from before: look again in a minute"))
	do(t, tab, "by night", media("prefers-color-scheme", "dark"))
	accessible(t, tab)
	do(t, tab, "and by day", media("prefers-color-scheme", "light"))
	parted := ask[string](t, tab, `document.querySelector('.label[data-form="parted"]').getAttribute("aria-label")`)
	if !strings.Contains(parted, "parted") || !strings.Contains(parted, "Line ") {
		t.Errorf("the parted line is named %q", parted)
	}
	if d := ask[string](t, tab, `document.querySelector('.line[data-form="parted"] .rope').getAttribute("d")`); strings.Count(d, "M") < 2 {
		t.Errorf("the parted line is drawn whole: %s", d)
	}

	// Keys alone: to a label, along the labels, choose one.
	do(t, tab, "choose a line by keys", chromedp.Focus(chromedp.CSS(`.label[tabindex="0"]`)), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(kb.Enter),
		holds(`document.querySelector('.label[aria-pressed="true"]') !== null`), says("Fairlead to hook"))

	// Back in time, by keys on the slider.
	recordedUntil(t, s.pages, begun.Add(149*time.Second))
	do(t, tab, "look back", chromedp.Focus(chromedp.CSS(".timebar input")), chromedp.KeyEvent(kb.ArrowLeft), holds(`document.body.classList.contains("in-the-past")`), says("THE PAST"),
		holds(`document.querySelector('.label[data-form="parted"]') !== null`))
	shootAs(t, tab, "past")
	accessible(t, tab)
	if kind := ask[string](t, tab, `document.querySelector(".sheet-of-mooring").dataset.kind`); kind != "past" {
		t.Errorf("the drawing of the past is marked %q", kind)
	}
	do(t, tab, "and to now again", chromedp.Click(chromedp.CSS(".timebar button:not(.quiet)")), holds(`!document.body.classList.contains("in-the-past")`))
	nothingAgainst(t, tab)
}

// Where the plan has the watch warn at another share of the limit, the hours ahead are
// drawn against that.
func TestHoursAheadAreDrawnAgainstThePlansApproach(t *testing.T) {
	text, err := os.ReadFile(plan)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "plan.yaml")
	if err := os.WriteFile(path, append(text, "\nlimits: {approach_fraction: 0.7}\n"...), 0o600); err != nil {
		t.Fatal(err)
	}
	s, tab := newServer(t), browser(t)
	send(t, s.grpc, path, "first", time.Now().Add(-40*time.Second), 40*time.Second)
	do(t, tab, "open", chromedp.EmulateViewport(1440, 1000), chromedp.Navigate(s.pages+"berth/north-jetty-1"),
		holds(`[...document.querySelectorAll(".hours text")].map((e) => e.textContent.replace(/\s/g, "")).filter((t) => t.endsWith("%")).join() === "100%,70%,0%"`))
	nothingAgainst(t, tab)
}

// Labels meet at no width, from where text is to reflow (WCAG 2.2, 1.4.10) to a wall, with twenty lines on 330 m and with eight on 80 m, and the
// page is no wider than its screen.
func TestLabelsNeverMeet(t *testing.T) {
	s := newServer(t)
	for berth, name := range map[string]string{"sea-island-4": "carrier-20", "town-quay-2": "coaster-8", "north-jetty-1": "tanker-12"} {
		send(t, s.grpc, planPath(name), name, time.Now().Add(-time.Minute), time.Minute)
		tab := browser(t)
		for _, size := range [][2]int64{{320, 700}, {390, 844}, {768, 1024}, {1280, 800}, {1920, 1080}, {3840, 2160}} {
			do(t, tab, "open", chromedp.EmulateViewport(size[0], size[1]), chromedp.Navigate(s.pages+"berth/"+berth), holds(`document.querySelectorAll(".label .load").length > 5 && document.querySelector(".label .load").textContent !== ""`))
			var bad []string
			if err := json.Unmarshal([]byte(ask[string](t, tab, overlaps)), &bad); err != nil || len(bad) > 0 {
				t.Errorf("%s at %d px: %q %v", name, size[0], bad, err)
			}
			noWider(t, tab)
			shootAs(t, tab, fmt.Sprintf("%s-%d", name, size[0]))
		}
	}
}
