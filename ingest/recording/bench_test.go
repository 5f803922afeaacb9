package recording_test

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"testing"

	"hawser/detect/reading"
	"hawser/ingest/recording"
)

// berthRecording is a recording of 14 lines at 5 Hz as a berth makes it: a row a
// channel, channel after channel.
func berthRecording(t testing.TB, seconds int, o recording.WriterOptions) ([]byte, int) {
	t.Helper()
	var out bytes.Buffer
	w := recording.NewWriter(&out, o)
	rows := 0
	for s := range seconds {
		b := &reading.Block{Sequence: uint64(s + 1)}
		for line := range 14 {
			tension := reading.Series{Channel: reading.Channel{Line: fmt.Sprint(line + 1), Kind: reading.Tension}, Decimals: 1}
			for i := range 5 {
				tension.Time = append(tension.Time, newYear+int64(s)*1e9+int64(i)*200e6)
				tension.Value = append(tension.Value, math.Round(2*(90+30*math.Sin(float64(line)+float64(5*s+i)/40)))/2)
			}
			b.Series = append(b.Series, tension)
		}
		rows += b.Samples()
		must(t, w.Write(b))
	}
	must(t, w.Close())
	return out.Bytes(), rows
}

func BenchmarkRead(b *testing.B) {
	for _, c := range []struct {
		name string
		o    recording.WriterOptions
	}{
		{"rfc3339", recording.WriterOptions{}},
		{"unixmilli", recording.WriterOptions{Time: recording.UnixMilli}},
		{"rfc3339-gzip", recording.WriterOptions{Gzip: true}},
	} {
		b.Run(c.name, func(b *testing.B) {
			data, rows := berthRecording(b, 600, c.o)
			for b.Loop() {
				r, err := recording.NewReader("bench.csv", bytes.NewReader(data), recording.Options{})
				must(b, err)
				got := 0
				for {
					block, err := r.Next()
					if err == io.EOF {
						break
					}
					must(b, err)
					got += block.Samples()
				}
				if got != rows {
					b.Fatalf("%d rows, want %d", got, rows)
				}
			}
			b.ReportMetric(float64(rows)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mrows/s")
			b.ReportAllocs()
		})
	}
}

const newYear = 1_767_225_600_000_000_000 // 2026-01-01T00:00:00Z
