package tsdb_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/ingest/store/roll"
	"hawser/ingest/store/storetest"
	"hawser/ingest/store/tsdb"
)

var farAhead = func() time.Time { return storetest.Start.Add(1e6 * time.Hour) }

// BenchmarkYear reads a year of the tensions of one berth of 16 lines: every roll
// of ten minutes, and a drawing of 1,500 points.
//
//	go test ./ingest/store/tsdb -run '^$' -bench Year -benchtime 20x
func BenchmarkYear(b *testing.B) {
	const lines, spans, per = 16, 365 * 144, 5
	s, err := tsdb.Open(tsdb.Options{Dir: b.TempDir(), Now: farAhead})
	must(b, err)
	defer s.Close()
	rng := rand.New(rand.NewPCG(1, 1))
	end := storetest.Start
	for range spans / 144 {
		block := &reading.Block{}
		for l := range lines {
			r := reading.Series{Channel: reading.Channel{Line: storetest.LineName(l), Kind: reading.Tension}, Decimals: 1}
			for i := range 144 * per {
				r.Time = append(r.Time, end.Add(time.Duration(i)*roll.Span/per).UnixNano())
				r.Value = append(r.Value, math.Round(2000+500*math.Sin(float64(i)/60)+200*rng.NormFloat64())/10)
			}
			block.Series = append(block.Series, r)
		}
		must(b, s.Append(b.Context(), "jetty-1", block))
		must(b, s.RollUp(b.Context()))
		end = end.Add(24 * time.Hour)
	}
	q := store.Query{Berth: "jetty-1", Channel: reading.Channel{Kind: reading.Tension}, From: storetest.Start, To: end, MaxPoints: lines * spans}
	for _, c := range []struct {
		name         string
		step         time.Duration
		points, want int
	}{
		{"rolls", roll.Span, 0, spans},
		{"drawing", 0, 1500, 365 * 2},
	} {
		b.Run(c.name, func(b *testing.B) {
			q := q
			q.Step, q.Points = c.step, c.points
			b.ReportAllocs()
			cpu := storetest.CPU()
			for b.Loop() {
				r, err := s.Query(b.Context(), q)
				if err != nil || len(r) != lines || len(r[0].Value) < c.want || r[0].Count[1] < per {
					b.Fatal(len(r), err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/1e3, "ms/query")
			b.ReportMetric(float64((storetest.CPU()-cpu).Microseconds())/float64(b.N)/1e3, "CPU-ms/query")
		})
	}
}

// BenchmarkDay reads a day of one line's tension at 10 Hz: every reading, and a
// drawing of 1,500 points.
//
//	go test ./ingest/store/tsdb -run '^$' -bench Day -benchtime 20x
func BenchmarkDay(b *testing.B) {
	const seconds = 86400
	s, err := tsdb.Open(tsdb.Options{Dir: b.TempDir(), Now: farAhead})
	must(b, err)
	defer s.Close()
	source := storetest.NewSource(1, 1)
	var entries []store.Entry
	for i := range seconds {
		entries = append(entries, store.Entry{Berth: "jetty-1", Block: storetest.Copy(source.Next())})
		if i%60 == 59 {
			must(b, s.AppendMany(b.Context(), entries))
			entries = entries[:0]
		}
	}
	cpu := storetest.CPU()
	must(b, s.RollUp(b.Context()))
	b.Logf("rolled up at %.0f ns a reading", float64((storetest.CPU()-cpu).Nanoseconds())/(13*seconds))
	q := store.Query{
		Berth: "jetty-1", Channel: reading.Channel{Line: "1", Kind: reading.Tension},
		From: storetest.Start, To: storetest.Start.Add(24 * time.Hour), MaxPoints: 10 * seconds,
	}
	for _, c := range []struct {
		name         string
		points, want int
	}{
		{"readings", 0, 10 * seconds},
		{"drawing", 1500, 1440},
	} {
		b.Run(c.name, func(b *testing.B) {
			q := q
			q.Points = c.points
			b.ReportAllocs()
			cpu := storetest.CPU()
			for b.Loop() {
				r, err := s.Query(b.Context(), q)
				if err != nil || len(r) != 1 || len(r[0].Value) != c.want {
					b.Fatal(len(r), err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/1e3, "ms/query")
			b.ReportMetric(float64((storetest.CPU()-cpu).Microseconds())/float64(b.N)/1e3, "CPU-ms/query")
		})
	}
}

// BenchmarkRollUp rolls up ten minutes of a berth of 16 lines, and gives the cost by
// its readings.
//
//	go test ./ingest/store/tsdb -run '^$' -bench RollUp -benchtime 5x
func BenchmarkRollUp(b *testing.B) {
	s, err := tsdb.Open(tsdb.Options{Dir: b.TempDir(), Now: farAhead, Settle: time.Hour})
	must(b, err)
	defer s.Close()
	source := storetest.NewSource(16, 1)
	readings, busy := 0, time.Duration(0)
	for b.Loop() {
		var entries []store.Entry
		for range 600 {
			entries = append(entries, store.Entry{Berth: "jetty-1", Block: storetest.Copy(source.Next())})
			readings += entries[len(entries)-1].Block.Samples()
		}
		must(b, s.AppendMany(b.Context(), entries))
		cpu := storetest.CPU()
		must(b, s.RollUp(b.Context()))
		busy += storetest.CPU() - cpu
	}
	b.ReportMetric(float64(busy.Nanoseconds())/float64(readings), "CPU-ns/reading")
}
