package browser_test

import (
	"io"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"hawser/detect/reading"
	"hawser/ingest/edge"
)

// A load pin that reads more than its line could bear, with nothing wrong with the numbers
// as such, is no good pin anywhere: it is not counted as one, its load is not the highest,
// and no group is uneven by it.
func TestAPinAtFaultIsNotAGoodOne(t *testing.T) {
	s := newServer(t)
	f := newFleet(t, s.grpc, 1)
	plan, at := f.plans[0], time.Duration(0)
	began := time.Now().Add(-time.Minute)
	_, err := edge.Send(t.Context(), f.conn, func() (*reading.Block, error) {
		if at >= time.Minute {
			return nil, io.EOF
		}
		b := f.block(0, plan, began, at, 1+uint64(at/(500*time.Millisecond)))
		at += 500 * time.Millisecond
		for i := range b.Series {
			if c := b.Series[i].Channel; c.Kind == reading.Tension && c.Line == plan.Lines[0].Id {
				for k := range b.Series[i].Value {
					b.Series[i].Value[k] = 3 * plan.Lines[0].MblKn
				}
			}
		}
		return b, nil
	}, edge.Options{Berth: plan.Berth, Source: "gateway", Plan: plan})
	if err != nil {
		t.Fatal(err)
	}
	tab := browser(t)
	do(t, tab, "see it at the terminal", chromedp.EmulateViewport(1280, 910), chromedp.Navigate(s.pages), says("Sensor fault"),
		holds(`[...document.querySelectorAll(".tiles dd")].some((e) => e.textContent === "15 of 16")`),
		holds(`document.querySelector(".lines-table tbody td:last-child").textContent === "at fault"`),
		holds(`document.querySelector(".groups .uneven") === null`))
	do(t, tab, "and on its berth's page", chromedp.Navigate(s.pages+"berth/"+plan.Berth), says("The load pin of line "+plan.Lines[0].Id+" is at fault"), says("15 of 16 lines are measured"))
	do(t, tab, "see on deck which load is the highest", chromedp.EmulateViewport(390, 844), chromedp.Navigate(s.pages+"deck?berth="+plan.Berth),
		says("Highest: line "), holds(`!document.querySelector(".band .more").textContent.includes("Highest: line `+plan.Lines[0].Id+`,")`))
	nothingAgainst(t, tab)
}
