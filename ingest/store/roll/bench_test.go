package roll_test

import (
	"testing"
	"time"

	"hawser/ingest/store/roll"
)

// BenchmarkPage writes and reads a page of a day of ten minutes at 10 Hz.
//
//	go test ./ingest/store/roll -run '^$' -bench Page
func BenchmarkPage(b *testing.B) {
	var rolls []roll.Roll
	for i := range 144 {
		r := roll.Roll{Time: int64(i) * int64(roll.Span)}
		for j := range 6000 {
			r.Add(float64(2000+i%7*10+(j*7919+i*i*31)%997), 1)
		}
		rolls = append(rolls, r)
	}
	var p roll.Packer
	page := p.Page(rolls, 0, int64(roll.Span))
	b.Run("write", func(b *testing.B) {
		for b.Loop() {
			page = p.Page(rolls, 0, int64(roll.Span))
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/144, "ns/roll")
		b.ReportMetric(float64(len(page))/144, "B/roll")
	})
	b.Run("read", func(b *testing.B) {
		var u roll.Unpacker
		var into []roll.Roll
		for b.Loop() {
			var err error
			if into, err = u.Append(into[:0], page, 0, int64(roll.Span)); err != nil || len(into) != 144 {
				b.Fatal(len(into), err)
			}
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/144, "ns/roll")
	})
	b.Run("add", func(b *testing.B) {
		r := roll.Roll{Time: time.Now().UnixNano()}
		for i := 0; b.Loop(); i++ {
			r.Add(float64(2000+i%100), 1)
		}
	})
}
