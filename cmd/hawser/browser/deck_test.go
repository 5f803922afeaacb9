package browser_test

import (
	"os"
	"testing"

	"github.com/chromedp/chromedp"
)

// The deck's page, in the hand: alarms come up large, one touch and a name
// acknowledge for the ship, sound is there for the asking; when the server is gone
// nothing looks live, and the page opens even then, with what it had.
func TestDeck(t *testing.T) {
	s := newServer(t)
	s.send()
	phone := browser(t, chromedp.Flag("autoplay-policy", "no-user-gesture-required"))
	do(t, phone, "open the deck", chromedp.EmulateViewport(390, 844), chromedp.Navigate(s.pages+"deck"),
		shown(".card.p-emergency"), says("Line parted: Line 4"), says("Clear the mooring deck"), holds(`document.documentElement.dataset.calls === "emergency"`))
	if got := ask[float64](t, phone, `document.querySelector(".card .acknowledge").getBoundingClientRect().height`); got < 60 {
		t.Errorf("the button is %.0f px high", got)
	}
	// What to do and the button are there without a finger, on a small phone too.
	do(t, phone, "on a small phone", chromedp.EmulateViewport(360, 740),
		holds(`innerWidth === 360 && document.querySelector(".card .acknowledge").getBoundingClientRect().bottom <= innerHeight`),
		holds(`document.documentElement.scrollWidth === innerWidth`))
	do(t, phone, "have sound", click(".sound"), holds(`document.querySelector(".sound").getAttribute("aria-pressed") === "true"`))
	do(t, phone, "acknowledge by one touch and a name", click(".card.p-emergency .acknowledge"), shown("dialog.deed"))
	ask[*int](t, phone, `{ const by = document.querySelector("dialog.deed input"); by.value = "Bosun"; document.querySelector("dialog.deed button[type=submit]").click(); } null`)
	do(t, phone, "see it acknowledged, and the next call", says("Acknowledged by Bosun for the ship"), holds(`document.documentElement.dataset.calls === "alarm"`))
	do(t, phone, "the next by one touch", click(".card.p-alarm .acknowledge"), holds(`document.documentElement.dataset.calls === ""`))
	do(t, phone, "be kept", holds(`(caches.open("deck").then((c) => c.keys()).then((k) => { window.kept = k.length; }), window.kept > 0)`))
	s.stop(os.Kill)
	do(t, phone, "see that nothing is live", says("Not live: nothing heard for"), shown(".tile.old"))
	do(t, phone, "open it without a server", chromedp.Navigate(s.pages+"deck"), holds(`document.documentElement.dataset.kept > 0`),
		says("Not live: nothing heard for"), says("Line parted"), shown(".tile.old"))
	nothingAgainst(t, phone)
}
