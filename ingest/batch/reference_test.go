package batch_test

import (
	"fmt"
	"math"
	"math/big"
	"sync"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"hawser/detect/reading"
	"hawser/ingest/batch"
	hawserv1 "hawser/proto/hawser/v1"
)

// The reference reads a batch with protobuf's own decoder, the schema's own
// constraints and unbounded integers, straight from the schema's comments.

var validator = sync.OnceValue(func() protovalidate.Validator {
	v, err := protovalidate.New()
	if err != nil {
		panic(err)
	}
	return v
})

// referenceColumn gives the column's series, or an error.
func referenceColumn(c *hawserv1.Column) (*reading.Series, error) {
	if err := validator().Validate(c); err != nil {
		return nil, err
	}
	s := &reading.Series{Decimals: -1}
	var err error
	if s.Channel, err = reading.ParseChannel(c.Channel); err != nil {
		return nil, err
	}
	n := int(c.Count)
	if s.Time, err = referenceTimes(c, n); err != nil {
		return nil, err
	}
	if len(c.ExactValues) > 0 {
		s.Value = c.ExactValues
		if len(c.ExactValues) != n || len(c.ValueDeltas) > 0 {
			return nil, fmt.Errorf("%d exact values, %d deltas", len(c.ExactValues), len(c.ValueDeltas))
		}
	} else {
		s.Decimals = int8(c.Decimals)
		if s.Value, err = referenceValues(c, n); err != nil {
			return nil, err
		}
	}
	return s, referenceQualities(c, s)
}

func referenceTimes(c *hawserv1.Column, n int) ([]int64, error) {
	if len(c.TimeDeltas) != 0 && len(c.TimeDeltas) != n-1 {
		return nil, fmt.Errorf("%d time deltas for %d", len(c.TimeDeltas), n)
	}
	tick := int64(c.TickNanos)
	if tick == 0 {
		tick = 1_000_000
	}
	at := big.NewInt(c.BaseTimeUnixNano)
	times := []int64{c.BaseTimeUnixNano}
	for i := 1; i < n; i++ {
		step := big.NewInt(int64(c.PeriodTicks))
		if len(c.TimeDeltas) > 0 {
			step.Add(step, big.NewInt(c.TimeDeltas[i-1]))
		}
		step.Mul(step, big.NewInt(tick))
		if len(c.TimeDeltas) > 0 && step.CmpAbs(big.NewInt(1<<62)) > 0 {
			return nil, fmt.Errorf("step %v", step)
		}
		if at.Add(at, step); !at.IsInt64() || at.Sign() <= 0 {
			return nil, fmt.Errorf("time %v", at)
		}
		times = append(times, at.Int64())
	}
	return times, nil
}

func referenceValues(c *hawserv1.Column, n int) ([]float64, error) {
	if len(c.ValueDeltas) != n {
		return nil, fmt.Errorf("%d value deltas for %d", len(c.ValueDeltas), n)
	}
	sum := new(big.Int)
	denominator := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(c.Decimals)), nil)
	var values []float64
	for _, d := range c.ValueDeltas {
		sum.Add(sum, big.NewInt(d))
		if sum.CmpAbs(big.NewInt(1<<53)) > 0 {
			return nil, fmt.Errorf("scaled %v", sum)
		}
		// Float64 of a big.Rat is the nearest float64, ties to even.
		v, _ := new(big.Rat).SetFrac(sum, denominator).Float64()
		values = append(values, v)
	}
	return values, nil
}

func referenceQualities(c *hawserv1.Column, s *reading.Series) error {
	n := s.Len()
	if len(c.Qualities) != 0 && len(c.Qualities) != n {
		return fmt.Errorf("%d qualities for %d", len(c.Qualities), n)
	}
	oldest, newest := int64(math.MaxInt64), int64(0)
	for i := range n {
		q := hawserv1.Quality_QUALITY_UNSPECIFIED
		if len(c.Qualities) > 0 {
			q = c.Qualities[i]
			s.Quality = append(s.Quality, reading.Quality(q))
		}
		if _, known := hawserv1.Quality_name[int32(q)]; !known {
			return fmt.Errorf("quality %d", q)
		}
		if q == hawserv1.Quality_QUALITY_BAD {
			s.Value[i] = 0
		} else if math.IsNaN(s.Value[i]) || math.IsInf(s.Value[i], 0) {
			return fmt.Errorf("value %v", s.Value[i])
		}
		if q != hawserv1.Quality_QUALITY_LATE {
			oldest, newest = min(oldest, s.Time[i]), max(newest, s.Time[i])
		}
	}
	if newest > 0 && newest-oldest > 3600e9 {
		return fmt.Errorf("span %d", newest-oldest)
	}
	return nil
}

// checkAgainstReference decodes p both ways and compares everything.
func checkAgainstReference(t rapid.TB, d *batch.Decoder, p []byte) {
	t.Helper()
	block, faults, err := d.Decode(p)
	var m hawserv1.Batch
	refErr := proto.Unmarshal(p, &m)
	if refErr == nil {
		// Columns are judged one by one; here the batch without them.
		refErr = validator().Validate(&hawserv1.Batch{Sequence: m.Sequence, CompleteUntilUnixNano: m.CompleteUntilUnixNano})
	}
	if refErr == nil && len(m.Columns) > batch.MaxColumns {
		refErr = fmt.Errorf("%d columns", len(m.Columns))
	}
	if (err == nil) != (refErr == nil) {
		t.Fatalf("Decode error %v, reference %v", err, refErr)
	}
	if err != nil {
		return
	}
	if block.Sequence != m.Sequence || block.CompleteUntil != m.CompleteUntilUnixNano {
		t.Fatalf("sequence %d, complete until %d; reference %d, %d",
			block.Sequence, block.CompleteUntil, m.Sequence, m.CompleteUntilUnixNano)
	}
	if len(block.Series) != len(m.Columns) {
		t.Fatalf("%d series, reference %d columns", len(block.Series), len(m.Columns))
	}
	for i, c := range m.Columns {
		got := &block.Series[i]
		want, refErr := referenceColumn(c)
		faulty := len(faults) > 0 && faults[0].Column == i
		if faulty != (refErr != nil) {
			t.Fatalf("column %d: faults %v, reference %v", i, faults, refErr)
		}
		if faulty {
			if faults[0].Reason == "" || faults[0].Err == nil || got.Len() != 0 {
				t.Fatalf("column %d: fault %+v with %d readings", i, faults[0], got.Len())
			}
			faults = faults[1:]
			continue
		}
		if diff := difference(got, want); diff != "" {
			t.Fatalf("column %d: %s", i, diff)
		}
	}
	if len(faults) > 0 {
		t.Fatalf("faults %v beyond the reference", faults)
	}
}

// difference says where two series differ, to the bit.
func difference(got, want *reading.Series) string {
	if got.Channel != want.Channel || got.Decimals != want.Decimals {
		return fmt.Sprintf("got %v, %d decimals; want %v, %d", got.Channel, got.Decimals, want.Channel, want.Decimals)
	}
	if got.Len() != want.Len() || len(got.Value) != want.Len() || got.Quality != nil && len(got.Quality) != want.Len() {
		return fmt.Sprintf("got %d, %d, %d elements; want %d", got.Len(), len(got.Value), len(got.Quality), want.Len())
	}
	for i := range want.Time {
		if got.Time[i] != want.Time[i] || math.Float64bits(got.Value[i]) != math.Float64bits(want.Value[i]) ||
			got.QualityAt(i) != want.QualityAt(i) {
			return fmt.Sprintf("reading %d: got %d %v %d, want %d %v %d", i, got.Time[i], got.Value[i], got.QualityAt(i),
				want.Time[i], want.Value[i], want.QualityAt(i))
		}
	}
	return ""
}

func must(t rapid.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
