package intake

import (
	"fmt"
	"testing"
	"time"

	"buf.build/go/protovalidate"

	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/ingest/planbook"
)

// Checking a batch that has nothing wrong with it allocates nothing, however
// often its readings are odd.
func TestCheckDoesNotAllocate(t *testing.T) {
	plan := &mooring.Plan{}
	block := &reading.Block{Sequence: 1}
	for i := range 20 {
		line := fmt.Sprint(i)
		plan.Lines = append(plan.Lines, mooring.Line{ID: line, Instrumented: true})
		block.Series = append(block.Series, reading.Series{
			Channel: reading.Channel{Line: line, Kind: reading.Tension}, Time: make([]int64, 10), Value: make([]float64, 10)})
	}
	s := &Server{o: Options{ClockTolerance: time.Minute, Validator: protovalidate.GlobalValidator}, m: newMetrics(nil)}
	b := newBerth("jetty-2", s.m, time.Time{})
	src, err := b.source("gw", 1)
	if err != nil {
		t.Fatal(err)
	}
	d := &delivery{s: s, berth: b, src: src}
	bound := b.bind(planbook.Entry{Plan: plan, Fingerprint: "0123456789abcdef"})
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	at, samples := now.UnixNano(), 0
	check := func() {
		for i := range block.Series {
			for k := range block.Series[i].Time {
				block.Series[i].Time[k] = at + int64(k)*1e8
			}
			block.Series[i].Time[9] = at // out of order
		}
		at += 1e9
		samples += d.check(block, nil, bound, now, now.Add(time.Hour).UnixNano()).samples
	}
	check() // learns the channels
	if n := testing.AllocsPerRun(100, check); n != 0 {
		t.Errorf("%v allocations a batch, want none", n)
	}
	if samples != 102*200 { // AllocsPerRun runs once more than asked
		t.Errorf("%d samples checked, want %d", samples, 102*200)
	}
}
