package batch_test

import (
	"fmt"
	"math"
	"testing"

	"hawser/detect/reading"
	"hawser/ingest/batch"
)

// pins is a block of load pins at 10 Hz with half-kilonewton quanta; every
// seventh time is a millisecond off where jitter is set.
func pins(columns, samples int, jitter bool) *reading.Block {
	b := &reading.Block{Sequence: 1, CompleteUntil: newYear}
	for c := range columns {
		s := reading.Series{Channel: reading.Channel{Line: fmt.Sprint(c + 1), Kind: reading.Tension}, Decimals: 1}
		for i := range samples {
			at := int64(newYear) + int64(i)*100e6
			if jitter && i%7 == 3 {
				at += 1e6
			}
			s.Time = append(s.Time, at)
			s.Value = append(s.Value, math.Round(2*(250+40*math.Sin(float64(c)+float64(i)/9)))/2)
		}
		b.Series = append(b.Series, s)
	}
	return b
}

func shapes(jitter bool) map[string]*reading.Block {
	return map[string]*reading.Block{"48x10": pins(48, 10, jitter), "1x200": pins(1, 200, jitter)}
}

func TestNoAllocations(t *testing.T) {
	var d batch.Decoder
	for name, b := range shapes(true) {
		b.Series[0].Quality = make([]reading.Quality, b.Series[0].Len())
		b.Series[0].Quality[2] = reading.Late
		p, err := batch.Append(nil, b)
		must(t, err)
		decode := func() {
			got, faults, err := d.Decode(p)
			if err != nil || len(faults) > 0 || got.Samples() != b.Samples() {
				t.Fatal(got.Samples(), faults, err)
			}
		}
		decode()
		decode()
		if n := testing.AllocsPerRun(100, decode); n != 0 {
			t.Errorf("%s: Decode allocates %v times a batch", name, n)
		}
		dst := make([]byte, 0, 2*len(p))
		encode := func() {
			if out, err := batch.Append(dst, b); err != nil || len(out) != len(p) {
				t.Fatal(len(out), err)
			}
		}
		if n := testing.AllocsPerRun(100, encode); n != 0 {
			t.Errorf("%s: Append allocates %v times a batch", name, n)
		}
	}
}

func BenchmarkDecode(b *testing.B) {
	for _, jitter := range []bool{false, true} {
		for name, block := range shapes(jitter) {
			b.Run(fmt.Sprintf("%s/jitter=%v", name, jitter), func(b *testing.B) {
				p, err := batch.Append(nil, block)
				must(b, err)
				var d batch.Decoder
				for b.Loop() {
					got, faults, err := d.Decode(p)
					if err != nil || len(faults) > 0 || len(got.Series) != len(block.Series) {
						b.Fatal(faults, err)
					}
				}
				report(b, block, p)
			})
		}
	}
}

func BenchmarkAppend(b *testing.B) {
	for _, jitter := range []bool{false, true} {
		for name, block := range shapes(jitter) {
			b.Run(fmt.Sprintf("%s/jitter=%v", name, jitter), func(b *testing.B) {
				var p []byte
				var err error
				for b.Loop() {
					if p, err = batch.Append(p[:0], block); err != nil {
						b.Fatal(err)
					}
				}
				report(b, block, p)
			})
		}
	}
}

func report(b *testing.B, block *reading.Block, p []byte) {
	b.ReportMetric(float64(block.Samples())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
	b.ReportMetric(float64(len(p))/float64(block.Samples()), "B/sample")
	b.ReportAllocs()
}
