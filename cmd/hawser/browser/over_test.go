package browser_test

import (
	"io"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"hawser/detect/reading"
	"hawser/ingest/edge"
)

// A line was over its limit for half a minute, and nobody has acknowledged that. Deck and
// terminal say what it carries now, as returned to normal (ISA-18.2's state, from memory),
// what it carried as what was so then, and nothing more of what there was to do.
func TestWhatIsOverSaysWhatIsSoNow(t *testing.T) {
	s := newServer(t)
	f := newFleet(t, s.grpc, 1)
	plan, at := f.plans[0], time.Duration(0)
	const length = 6 * time.Minute
	began := time.Now().Add(-length)
	f.load = func(i, j int, at time.Duration) float64 {
		if j == 0 && at > time.Minute && at < 90*time.Second {
			return 0.6 * plan.Lines[0].MblKn
		}
		return calm(i, j, at)
	}
	_, err := edge.Send(t.Context(), f.conn, func() (*reading.Block, error) {
		if at >= length {
			return nil, io.EOF
		}
		b := f.block(0, plan, began, at, 1+uint64(at/(500*time.Millisecond)))
		at += 500 * time.Millisecond
		return b, nil
	}, edge.Options{Berth: plan.Berth, Source: "gateway", Plan: plan})
	if err != nil {
		t.Fatal(err)
	}
	phone, desk := browser(t), browser(t)
	card := `[...document.querySelectorAll(".card.over")].find((c) => c.textContent.includes("Over limit"))`
	do(t, phone, "see it on deck", chromedp.EmulateViewport(390, 844), chromedp.Navigate(s.pages+"deck?berth="+plan.Berth),
		holds(card+`?.textContent.includes("well under its working load limit")`),
		holds(card+`.textContent.includes("When raised: ") && `+card+`.textContent.includes("Returned to normal ")`),
		holds(card+`.querySelector(".do").hidden && !`+card+`.querySelector(".acknowledge").hidden`))
	accessible(t, phone)
	do(t, desk, "see it at the terminal", chromedp.EmulateViewport(1280, 910), chromedp.Navigate(s.pages), says("Returned to normal, not acknowledged"),
		// With what else that line raised meanwhile all that waits is in one figure.
		holds(`(n => n > 1 && document.querySelector(".tiles > div:last-child dd").textContent === n + " of " + n)(document.querySelectorAll(".part.active .alarm, .part.returned .alarm").length)`))
	row := `[...document.querySelectorAll(".part.returned .alarm")].find((a) => a.textContent.includes("Over limit"))`
	ask[*int](t, desk, row+`.click(); null`)
	do(t, desk, "lay it open", holds(row+`.textContent.includes("well under its working load limit") && `+row+`.textContent.includes("When raised: ") && `+row+`.querySelector(".do") === null`))
	nothingAgainst(t, phone)
	nothingAgainst(t, desk)
}
