package influx_test

import (
	"testing"

	"hawser/ingest/store"
	"hawser/ingest/store/influx"
	"hawser/ingest/store/storetest"
)

// BenchmarkAppend writes seconds of 50 berths of 16 lines to a server that only
// reads the requests: our side and the client's, gzip included.
//
//	go test ./ingest/store/influx -bench Append -benchtime 50x
func BenchmarkAppend(b *testing.B) {
	s, err := influx.Open(influx.Options{URL: nowhere(b).URL, Bucket: "hawser", Dir: b.TempDir()})
	must(b, err)
	defer s.Close()
	entries := make([]store.Entry, 50)
	readings := 0
	for i := range entries {
		entries[i] = store.Entry{Berth: "jetty-" + storetest.LineName(i), Block: storetest.NewSource(16, uint64(i)).Next()}
		readings += entries[i].Block.Samples()
	}
	cpu := storetest.CPU()
	b.ReportAllocs()
	for b.Loop() {
		must(b, s.AppendMany(b.Context(), entries))
	}
	b.ReportMetric(float64(b.N*readings)/(storetest.CPU()-cpu).Seconds(), "readings/CPU-s")
}
