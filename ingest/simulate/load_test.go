package simulate_test

import (
	"math"
	"reflect"
	"strconv"
	"testing"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/simulate"
)

func TestLoadLooksLikeABerth(t *testing.T) {
	fleet := simulate.Fleet(2, 16, 5, start)
	got, other := track{}, track{}
	const seconds = 1800
	for n := range seconds {
		b := fleet[0].Next()
		from := start.UnixNano() + int64(n)*int64(time.Second)
		if b.Sequence != uint64(n+1) || b.CompleteUntil != from+int64(time.Second)-1 || b.Samples() != 16*12 {
			t.Fatalf("window %d: sequence %d, %d samples", n, b.Sequence, b.Samples())
		}
		for i := range b.Series {
			checkSeries(t, &b.Series[i], from, from+int64(time.Second))
			got.keep(&b.Series[i])
		}
		for _, c := range fleet[1].Next().Series {
			other.keep(&c)
		}
	}
	if reflect.DeepEqual(got["1/tension"].Value, other["1/tension"].Value) {
		t.Error("two berths read the same")
	}
	// The second difference of neighbours is the noise alone, times √6: the sines
	// hardly bend in 0.2 s.
	v := got["1/tension"].Value
	var sum, moves float64
	for i := 2; i < len(v); i++ {
		d := v[i] - 2*v[i-1] + v[i-2]
		sum += d * d
	}
	if sd := math.Sqrt(sum / float64(len(v)-2) / 6); math.Abs(sd-0.5) > 0.05 {
		t.Errorf("noise of %.3f kN, want 0.5", sd)
	}
	for i := range 16 {
		p := got[reading.Channel{Line: strconv.Itoa(i + 1), Kind: reading.Payout}.String()].Value
		for j := 1; j < len(p); j++ {
			if step := math.Abs(p[j] - p[j-1]); step > 1e-9 {
				if math.Abs(step-0.01) > 1e-9 {
					t.Fatalf("a drum moves by %g m", step)
				}
				moves++
			}
		}
	}
	if every := 16 * seconds / moves; every < 60 || every > 140 {
		t.Errorf("a drum moves every %.0f s, want about 90", every)
	}
}

func TestLoadAllocatesNothing(t *testing.T) {
	l := simulate.NewLoad(16, 1, start)
	l.Next()
	if n := testing.AllocsPerRun(100, func() { l.Next() }); n != 0 {
		t.Errorf("%g allocations a block", n)
	}
}

func BenchmarkLoad(b *testing.B) {
	l := simulate.NewLoad(16, 1, start)
	b.ReportAllocs()
	samples := 0
	for b.Loop() {
		samples += l.Next().Samples()
	}
	if samples != 192*b.N {
		b.Fatalf("%d samples in %d blocks of 192", samples, b.N)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(samples), "ns/sample")
}
