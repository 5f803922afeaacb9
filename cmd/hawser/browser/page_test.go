package browser_test

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// seen notes when each alarm first stands in the list, by the page's clock, which
// is the server's here. The list is looked at whenever it changes.
const seen = `window.seen = {};
new MutationObserver(() => {
  for (const what of document.querySelectorAll(".alarm .what b")) seen[what.textContent] ??= Date.now();
}).observe(document.querySelector(".alarms"), { childList: true, subtree: true, characterData: true });`

// recordedAt asks the server when each alarm went on record. The page's policy
// forbids a parser of markup.
const recordedAt = `fetch("/", { cache: "no-store" }).then((a) => a.text()).then((page) => {
  const setup = JSON.parse(page.split('id="setup">')[1].split("</script>")[0]);
  return Object.fromEntries(setup.whole.alarms.list.map((a) => [a.condition, a.recorded]));
})`

// The page is opened before there is a berth; readings come in, alarms appear by
// themselves, one is acknowledged, and a second page sees that.
func TestAlarmsAppearAndAreAcknowledged(t *testing.T) {
	s := newServer(t)
	first, second := browser(t), browser(t)
	do(t, first, "open the first page", chromedp.EmulateViewport(1280, 910), chromedp.Navigate(s.pages), says("No berth is under watch yet"))
	do(t, second, "open the second page", chromedp.EmulateViewport(390, 844), chromedp.Navigate(s.pages), says("No active alarms"))
	ask[*int](t, first, seen+"null")
	s.send()
	do(t, first, "see the alarms", says("Line parted"), says("Brake slip"), says("Heron of Aldmouth"))

	// Within a second of its record, by the timestamps of both.
	at, on := ask[map[string]float64](t, first, "seen"), ask[map[string]float64](t, first, recordedAt)
	var late []float64
	for condition, name := range map[string]string{"line-parted": "Line parted", "brake-slip": "Brake slip"} {
		if at[name] == 0 || on[condition] == 0 {
			t.Fatalf("no times of %s: seen %v, recorded %v", condition, at, on)
		}
		late = append(late, at[name]-on[condition])
	}
	t.Logf("alarms stood on the page %v ms after their records", late)
	if slices.Max(late) > 1000 {
		t.Errorf("alarms stood on the page %v ms after their records, want 1,000 at most", late)
	}

	do(t, first, "acknowledge with a name",
		click(`button[aria-label^="Acknowledge: Line parted"]`), shown("dialog.deed"),
		holds(`document.activeElement.name === "by"`), chromedp.KeyEvent("J. Alder, second mate\r"),
		says("Acknowledged by J. Alder, second mate for the terminal"))
	do(t, second, "see it on the second page", click(".alarm"), says("Acknowledged by J. Alder, second mate for the terminal"))
	nothingAgainst(t, first)
	nothingAgainst(t, second)
}

// A link that is cut is said to be, its figures are grey, and when it is back all
// goes on by itself.
func TestLinkCutAndBack(t *testing.T) {
	s := newServer(t)
	link, url := newLink(t, s.pages)
	s.send()
	tab := browser(t)
	do(t, tab, "open", chromedp.Navigate(url), says("Line parted"), holds(`document.querySelector("#link").textContent === "Connected"`))
	link.cut <- true
	do(t, tab, "see that the link is cut", says("Not live"), says("figures are old"), shown("body.cut"), shown(".card.old"),
		holds(`/^Not live: no answer from the server for \d+ s/.test(document.querySelector("#link").textContent)`))
	link.cut <- false
	do(t, tab, "see that it is back", shown("body:not(.cut)"), holds(`document.querySelector("#link").textContent === "Connected"`), says("Line parted"))
	nothingAgainst(t, tab)
}

// The page outlives the server: it goes on by itself with what the next one tells.
func TestServerRestarts(t *testing.T) {
	s := newServer(t)
	s.send()
	tab := browser(t)
	do(t, tab, "open", chromedp.Navigate(s.pages), says("Line parted"))
	ask[*int](t, tab, "window.before = true, null")
	s.restart()
	for _, a := range alarms(t, s) {
		if a.Condition == "line-parted" {
			acknowledge(t, s, a.AlarmId, "Night watch")
		}
	}
	do(t, tab, "see what the new server tells", says("Acknowledged by Night watch for the terminal"), holds(`document.querySelector("#link").textContent === "Connected"`))
	if !ask[bool](t, tab, "window.before === true") {
		t.Error("the page was read anew, though its server is of the same build")
	}
}

// Everything can be done from the keyboard, and what has the focus shows it.
func TestKeyboardOnly(t *testing.T) {
	s := newServer(t)
	s.send()
	tab := browser(t)
	keys := func(what, keys string, then ...chromedp.Action[chromedp.Void]) {
		t.Helper()
		do(t, tab, what, append([]chromedp.Action[chromedp.Void]{chromedp.KeyEvent(keys)}, then...)...)
	}
	do(t, tab, "open", chromedp.EmulateViewport(1280, 910), chromedp.Navigate(s.pages), says("Line parted"), says("Brake slip"))

	keys("to the skip link", kb.Tab, holds(`document.activeElement.className === "skip"`))
	keys("skip", kb.Enter, holds(`document.activeElement.id === "main"`))
	tabTo(t, tab, `document.activeElement.matches(".alarm.open")`)
	if !ask[bool](t, tab, `getComputedStyle(document.activeElement).outlineStyle !== "none" && parseFloat(getComputedStyle(document.activeElement).outlineWidth) >= 2`) {
		t.Error("the focus does not show")
	}
	keys("acknowledge", "a", shown("dialog.deed"), holds(`document.activeElement.name === "by"`))
	keys("leave it", kb.Escape, holds(`document.querySelector("dialog") === null && document.activeElement.matches(".alarm.open")`))
	keys("acknowledge", "a", shown("dialog.deed"))
	keys("give the name", "Bosun"+kb.Enter, says("Acknowledged by Bosun for the terminal"), holds(`document.activeElement.matches(".alarm.open")`))
	do(t, tab, "an emergency is not shelved", chromedp.KeyEvent("s"), holds(`document.querySelector("dialog") === null`))

	for range 10 {
		if ask[bool](t, tab, `document.activeElement.textContent.includes("Brake slip")`) {
			break
		}
		keys("the next alarm", kb.ArrowDown)
	}
	do(t, tab, "is the brake slip", holds(`document.activeElement.matches(".alarm.open") && document.activeElement.textContent.includes("Brake slip")`))
	keys("shelve", "s", shown("dialog.deed"), holds(`document.activeElement.name === "note"`))
	do(t, tab, "give the reason", chromedp.KeyEvent("brake under repair"))
	tabTo(t, tab, `document.activeElement.type === "submit"`)
	keys("and do so", kb.Enter, says("Shelved until"))

	tabTo(t, tab, `document.activeElement.matches(".pick")`)
	keys("choose the berth", kb.Enter, shown(".one"), says("under watch"))
	keys("and leave it", kb.Escape, gone(".one"))
	nothingAgainst(t, tab)
}

// tabTo goes from one element to the next until a condition holds.
func tabTo(t *testing.T, tab context.Context, condition string) {
	t.Helper()
	for range 60 {
		do(t, tab, "the next element", chromedp.KeyEvent(kb.Tab))
		if ask[bool](t, tab, condition) {
			return
		}
	}
	t.Fatalf("60 times Tab do not lead to where %s", condition)
}

// Times are the viewer's, with their zone and UTC at hand; loads are in the unit of choice; the
// language can be another.
func TestZoneUnitsAndLanguage(t *testing.T) {
	s := newServer(t)
	s.send()
	tab := browser(t, chromedp.Flag("lang", "en-GB"))
	do(t, tab, "open far in the east", zone("Asia/Tokyo"), chromedp.Navigate(s.pages), says("Line parted"))
	// Japan is nine hours ahead of UTC all year (IANA time zone database).
	local, utc := ask[string](t, tab, `document.querySelector("#clock span").textContent`), ask[string](t, tab, `document.querySelector("#clock .utc").textContent`)
	a, err1 := time.Parse("15:04:05 GMT+9", local)
	b, err2 := time.Parse("15:04:05 UTC", utc)
	if ahead := (a.Sub(b) + 24*time.Hour) % (24 * time.Hour); err1 != nil || err2 != nil || ahead != 9*time.Hour {
		t.Errorf("clock %q and %q: %s apart", local, utc, ahead)
	}
	load := `document.querySelector(".card .lines-table td.n").textContent`
	kN := ask[float64](t, tab, "Number("+load+")")
	do(t, tab, "open the settings", click("#settings"), shown("dialog.settings"))
	ask[*int](t, tab, `{ const s = document.querySelectorAll("dialog.settings select")[1]; s.value = "t"; s.dispatchEvent(new Event("change")); document.querySelector("dialog.settings button").click(); } null`)
	do(t, tab, "see tonnes", holds(`document.querySelector(".card .lines-table thead .n").textContent === "Load, t"`))
	// By definition of the tonne-force: 1 t is 9.80665 kN.
	if got, want := ask[string](t, tab, load), fmt.Sprintf("%.1f", kN/9.80665); !near(got, want) {
		t.Errorf("%v kN are %s t, want %s", kN, got, want)
	}
	do(t, tab, "in German", chromedp.Navigate(s.pages+"?lang=de"), says("Leine gebrochen"), holds(`document.documentElement.lang === "de"`))
}

// near allows for a figure that was rounded before.
func near(got, want string) bool {
	var a, b float64
	_, err1 := fmt.Sscan(got, &a)
	_, err2 := fmt.Sscan(want, &b)
	return err1 == nil && err2 == nil && a-b < 0.11 && b-a < 0.11
}
