package edge_test

import (
	"fmt"
	"testing"
	"time"

	"hawser/ingest/edge"
	"hawser/ingest/intake"
	"hawser/ingest/store/storetest"
)

// The whole way over loopback TCP, both ends in this process, against a journal
// that has everything on disk at once. One operation is one batch.
//
//	go test -run xxx -bench Loopback ./ingest/edge
func BenchmarkLoopback(b *testing.B) {
	for _, lines := range []int{20, 48} {
		b.Run(fmt.Sprintf("%dx10", lines), func(b *testing.B) {
			m := &memory{forgets: true}
			s := listen(b, "127.0.0.1:0", m, &documents{}, func(o *intake.Options) {
				o.Now = func() time.Time { return time.Unix(0, noon).AddDate(10, 0, 0) } // after the last of many blocks
			})
			conn := dial(b, s.addr)
			b.ReportAllocs()
			b.ResetTimer()
			before := storetest.CPU()
			sum, err := edge.Send(b.Context(), conn, recording(b.N, lines), options())
			used := storetest.CPU() - before
			b.StopTimer()
			if err != nil || sum.Samples != uint64(b.N*lines*10) {
				b.Fatalf("sent %d samples: %v", sum.Samples, err)
			}
			b.ReportMetric(float64(sum.Samples)/b.Elapsed().Seconds(), "samples/s")
			b.ReportMetric(float64(sum.Samples)/used.Seconds(), "samples/cpu-s")
			b.ReportMetric(float64(sum.Bytes)/float64(sum.Samples), "bytes/sample")
		})
	}
}
