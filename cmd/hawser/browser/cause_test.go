package browser_test

import (
	"io"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"hawser/detect/reading"
	"hawser/ingest/edge"
)

// A gateway of sixteen load pins stops while the weather goes on: terminal and deck
// show one alarm, with its lines under it, and nothing else waits.
func TestSilentGatewayIsOneAlarm(t *testing.T) {
	s := newServer(t)
	f := newFleet(t, s.grpc, 1)
	desk, phone := browser(t), browser(t) // there before the berth itself is told to be silent
	began := time.Now().Add(-time.Minute)
	send := func(source string, until time.Duration, pins bool) {
		at := time.Duration(0)
		_, err := edge.Send(t.Context(), f.conn, func() (*reading.Block, error) {
			if at >= until {
				return nil, io.EOF
			}
			b := f.block(0, f.plans[0], began, at, 1+uint64(at/(500*time.Millisecond)))
			at += 500 * time.Millisecond
			b.Series = slices.DeleteFunc(b.Series, func(s reading.Series) bool { return (s.Channel.Kind == reading.Tension) != pins })
			return b, nil
		}, edge.Options{Berth: f.plans[0].Berth, Source: source, Plan: f.plans[0]})
		if err != nil {
			t.Fatal(err)
		}
	}
	send("gateway", 20*time.Second, true)
	send("weather", time.Minute, false)
	const all = "Suppressed under this, 16 alarms: Sensor fault, "
	do(t, desk, "see it at the terminal", chromedp.EmulateViewport(1280, 910), chromedp.Navigate(s.pages),
		says("Load pins silent"), says("Gateway gateway"), says("look first at this gateway"), says(all),
		holds(`[...document.querySelectorAll(".alarms .part.active .what b")].map((b) => b.textContent).filter((w) => w !== "Berth silent").join() === "Load pins silent"`))
	do(t, phone, "see it on deck", chromedp.EmulateViewport(390, 844), chromedp.Navigate(s.pages+"deck"),
		says("Load pins silent"), says(all), holds(`document.documentElement.dataset.calls === "alarm"`))
	accessible(t, desk)
	accessible(t, phone)
	nothingAgainst(t, desk)
	nothingAgainst(t, phone)
}

// A gateway that goes on sending what it had is one alarm, and no load pin of its is
// shown as a good one, though each sends a number.
func TestStandstillIsOneAlarm(t *testing.T) {
	s := newServer(t)
	f := newFleet(t, s.grpc, 1)
	f.load = func(berth, line int, at time.Duration) float64 { return calm(berth, line, min(at, 6*time.Minute)) }
	f.send(t.Context(), "gateway", time.Now().Add(-8*time.Minute), 0, 8*time.Minute, 0)
	desk, phone := browser(t), browser(t)
	do(t, desk, "see it at the terminal", chromedp.EmulateViewport(1280, 910), chromedp.Navigate(s.pages),
		says("Load pins at a standstill"), says("Gateway gateway"), says("Suppressed under this, 16 alarms: Sensor fault, "),
		holds(`[...document.querySelectorAll(".lines-table td:last-child")].filter((td) => td.textContent === "at fault").length === 16`),
		holds(`document.querySelectorAll(".lines-table .flag.p-caution").length === 16`))
	do(t, phone, "see it on deck", chromedp.EmulateViewport(390, 844), chromedp.Navigate(s.pages+"deck"),
		says("Load pins at a standstill"), holds(`document.querySelectorAll(".tile.p-caution").length === 16`))
	nothingAgainst(t, desk)
	nothingAgainst(t, phone)
}
