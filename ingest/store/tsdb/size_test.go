package tsdb_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/ingest/store/storetest"
	"hawser/ingest/store/tsdb"
)

// tensionOnly is a source's block without all but its tensions.
func tensionOnly(b *reading.Block) *reading.Block {
	out := &reading.Block{Sequence: b.Sequence}
	for _, s := range b.Series {
		if s.Channel.Kind == reading.Tension {
			out.Series = append(out.Series, s)
		}
	}
	return out
}

// Plain decimals take 5.5 bytes a reading in a block (measured with the same
// database, 0.1 kN steps, 0.5 kN noise). Whole numbers are to take 2 or less, and
// the log 8. -v shows what they take.
func TestBytesPerReading(t *testing.T) {
	const lines, seconds = 8, 1800
	s := open(t, tsdb.Options{})
	source := storetest.NewSource(lines, 3)
	readings := 0
	for range seconds {
		b := tensionOnly(source.Next())
		readings += b.Samples()
		must(t, s.Append(t.Context(), "jetty-1", b))
	}
	if readings != lines*seconds*10 {
		t.Fatalf("%d readings", readings)
	}
	log := float64(s.LogBytes()) / float64(readings)
	must(t, s.Flush(t.Context()))
	block := float64(s.BlockBytes()) / float64(readings)
	t.Logf("%.2f B a reading in the log, %.2f in a block", log, block)
	if block > 2 || log > 8 {
		t.Errorf("%.2f B a reading in the log, %.2f in a block, want at most 8 and 2", log, block)
	}
}

// Days of readings become blocks of more and more hours, those over the retention
// go, and a query sees no seams. A recording of an earlier day, sent in afterwards,
// takes its place among them.
func TestDays(t *testing.T) {
	const days, kept = 7, 5 * 24 // hours
	s := open(t, tsdb.Options{
		Retention: kept * time.Hour, Now: func() time.Time { return storetest.Start.Add(2000 * time.Hour) },
	})
	// A reading a minute, its value the number of the minute.
	hours := func(from, to int) {
		for h := from; h < to; h++ {
			var pairs []float64
			for m := h * 60; m < h*60+60; m++ {
				pairs = append(pairs, float64(m)*60_000, float64(m))
			}
			must(t, s.Append(t.Context(), "jetty-1", reads(tension7, 1, pairs...)))
		}
	}
	hours(0, 4*24)
	hours(5*24, days*24)
	must(t, s.Compact(t.Context()))
	before := len(s.BlockDirs())
	hours(6*24, 6*24+5) // stored already: nothing
	hours(4*24, 5*24)
	must(t, s.Flush(t.Context()))
	for range 4 { // merging goes a step at a time
		must(t, s.Compact(t.Context()))
	}
	err := s.Append(t.Context(), "jetty-1", reads(tension7, 1, 0, 0.5))
	wantRefused(t, err, map[store.Reason]int{store.TooOld: 1})

	got := values(t, s, tension7)
	first := int(got[0])
	for i, v := range got {
		if v != float64(first+i) {
			t.Fatalf("reading %d is %v, want %d", i, v, first+i)
		}
	}
	// A block goes when all in it is over the retention; the largest have 6 h.
	edge := (days*24 - kept) * 60
	if got[len(got)-1] != days*24*60-1 || first > edge || first < edge-7*60 {
		t.Errorf("from minute %d to %v, want from 7 h before %d at most to %d", first, got[len(got)-1], edge, days*24*60-1)
	}
	// Five days are 60 blocks of 2 h, or 20 of 6 h and some of the newest.
	if n := len(s.BlockDirs()); n > 30 {
		t.Errorf("%d blocks, %d before the recording", n, before)
	}
	if err := s.Sync(); err != nil {
		t.Error(err)
	}
}

// BenchmarkAppend stores seconds of 50 berths of 16 lines, a commit for each
// second of all.
//
//	go test ./ingest/store/tsdb -bench Append -benchtime 300x
func BenchmarkAppend(b *testing.B) {
	for _, berths := range []int{1, 50} {
		b.Run(fmt.Sprintf("berths=%d", berths), func(b *testing.B) {
			s, err := tsdb.Open(tsdb.Options{Dir: b.TempDir(), Now: func() time.Time { return storetest.Start.Add(1e6 * time.Hour) }})
			must(b, err)
			defer s.Close()
			sources := make([]*storetest.Source, berths)
			entries := make([]store.Entry, berths)
			for i := range sources {
				sources[i] = storetest.NewSource(16, uint64(i))
				entries[i].Berth = fmt.Sprintf("jetty-%d", i+1)
			}
			readings, busy := 0, time.Duration(0)
			b.ReportAllocs()
			for b.Loop() {
				for i := range sources {
					entries[i].Block = sources[i].Next()
					readings += entries[i].Block.Samples()
				}
				cpu := storetest.CPU()
				must(b, s.AppendMany(b.Context(), entries))
				busy += storetest.CPU() - cpu
			}
			b.ReportMetric(float64(readings)/busy.Seconds(), "readings/CPU-s")
		})
	}
}

// BenchmarkLate stores an old recording of a berth of 16 lines, behind readings of
// today: twenty seconds a call, as a pump would when it catches up.
func BenchmarkLate(b *testing.B) {
	s, err := tsdb.Open(tsdb.Options{Dir: b.TempDir(), Now: func() time.Time { return storetest.Start.Add(1e6 * time.Hour) }})
	must(b, err)
	defer s.Close()
	source := storetest.NewSource(16, 1)
	today := storetest.Copy(source.Next())
	for i := range today.Series {
		today.Series[i].Time[0] += int64(20 * 24 * time.Hour)
	}
	must(b, s.Append(b.Context(), "jetty-1", today))
	readings, busy := 0, time.Duration(0)
	for b.Loop() {
		var entries []store.Entry
		for range 20 {
			entries = append(entries, store.Entry{Berth: "jetty-1", Block: storetest.Copy(source.Next())})
			readings += entries[len(entries)-1].Block.Samples()
		}
		cpu := storetest.CPU()
		must(b, s.AppendMany(b.Context(), entries))
		busy += storetest.CPU() - cpu
	}
	b.ReportMetric(float64(readings)/busy.Seconds(), "readings/CPU-s")
}

// BenchmarkQuery reads an hour of one line at 10 Hz, as it is and in steps.
func BenchmarkQuery(b *testing.B) {
	s, err := tsdb.Open(tsdb.Options{Dir: b.TempDir(), Now: clock})
	must(b, err)
	defer s.Close()
	source := storetest.NewSource(1, 1)
	for range 3600 {
		must(b, s.Append(b.Context(), "jetty-1", source.Next()))
	}
	for _, step := range []time.Duration{0, 10 * time.Second} {
		b.Run("step="+step.String(), func(b *testing.B) {
			for b.Loop() {
				r, err := s.Query(b.Context(), store.Query{
					Berth: "jetty-1", Channel: reading.Channel{Line: "1", Kind: reading.Tension},
					From: storetest.Start, To: storetest.Start.Add(time.Hour), Step: step,
				})
				if err != nil || len(r) != 1 || math.IsNaN(r[0].Value[0]) {
					b.Fatal(len(r), err)
				}
			}
			b.ReportMetric(36000*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
		})
	}
}
