package edge_test

import (
	"context"
	"fmt"
	"testing"

	"hawser/ingest/edge"
	"hawser/ingest/intake"
	"hawser/ingest/journal"
	"hawser/ingest/store/storetest"
)

// The whole way over loopback TCP, both ends in this process, against a journal
// that has everything on disk at once. One operation is one batch.
//
//	go test -run xxx -bench Loopback ./ingest/edge
func BenchmarkLoopback(b *testing.B) {
	for _, lines := range []int{20, 48} {
		b.Run(fmt.Sprintf("%dx10", lines), func(b *testing.B) {
			s := listen(b, "127.0.0.1:0", b.TempDir(), func(j intake.Journal) intake.Journal { return instant{j} })
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

// instant has everything on disk at once, and forgets it.
type instant struct{ intake.Journal }

func (instant) Append(context.Context, *journal.Entry) (intake.Pending, error) { return instant{}, nil }
func (instant) Wait(context.Context) (journal.Position, error)                 { return 0, nil }
