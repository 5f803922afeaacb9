package linebook_test

import (
	"context"
	"fmt"
	"testing"

	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/ingest/batch"
)

// What a reading costs in the records, its batch's decoding with it: a berth of 16
// lines, tension at 10 Hz, pay-out and brake at 1 Hz, in batches of a second.
func BenchmarkTake(b *testing.B) {
	const lines, batches = 16, 600
	var all []mooring.Line
	for i := range lines {
		all = append(all, mooring.Line{ID: fmt.Sprint(i + 1)})
	}
	w := newWorld(aPlan("east-1", "Heron", all...))
	for i := range batches {
		block := &reading.Block{Sequence: 1, CompleteUntil: start}
		for l := range lines {
			loads := make([]float64, 10)
			for k := range loads {
				loads[k] = float64(2000+(i*7+l*131+k*k*3)%900) / 10
			}
			s := series(fmt.Sprint(l+1), reading.Tension, 1+float64(i), 0.1, loads...)
			s.Decimals = 1
			payout, brake := series(fmt.Sprint(l+1), reading.Payout, 1+float64(i), 1, 3), series(fmt.Sprint(l+1), reading.Brake, 1+float64(i), 1, 1)
			payout.Decimals, brake.Decimals = 2, 0
			block.Series = append(block.Series, s, payout, brake)
		}
		data, err := batch.Append(nil, block)
		if err != nil {
			b.Fatal(err)
		}
		w.entries = append(w.entries, batch.Entry{Position: uint64(i + 1), Berth: "east-1", Plan: "plan-0", Data: data})
	}
	b.ReportAllocs()
	samples := 0
	for b.Loop() {
		book := w.open(b)
		for i := range w.entries {
			if err := book.Take(context.Background(), &w.entries[i]); err != nil {
				b.Fatal(err)
			}
		}
		samples += batches * lines * 12
		if book.Position() != batches {
			b.Fatal("not all taken")
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(samples), "ns/sample")
}
