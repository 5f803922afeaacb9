package roll_test

import (
	"encoding/binary"
	"errors"
	"hash/crc32"
	"math"
	"math/big"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"hawser/ingest/store/roll"
)

// exact is the mean and standard deviation of decimal numbers in rational
// arithmetic, each rounded once.
func exact(numbers []float64, decimals int8) (mean, std float64) {
	sum, squares := new(big.Rat), new(big.Rat)
	for _, n := range numbers {
		x := new(big.Rat).SetFloat64(n)
		sum.Add(sum, x)
		squares.Add(squares, new(big.Rat).Mul(x, x))
	}
	n := new(big.Rat).SetInt64(int64(len(numbers)))
	scale := new(big.Rat).SetFloat64(math.Pow10(int(decimals)))
	m := new(big.Rat).Quo(sum, n)
	v := new(big.Rat).Sub(new(big.Rat).Quo(squares, n), new(big.Rat).Mul(m, m))
	mean, _ = new(big.Rat).Quo(m, scale).Float64()
	variance, _ := new(big.Rat).Quo(v, new(big.Rat).Mul(scale, scale)).Float64()
	return mean, math.Sqrt(variance)
}

func drawNumbers(t *rapid.T, label string) []float64 {
	return drawWithin(t, label, 3, 5000, 1<<20, 1<<33)
}

func drawWithin(t *rapid.T, label string, reaches ...int64) []float64 {
	reach := rapid.SampledFrom(reaches).Draw(t, label+" reach")
	offset := rapid.Int64Range(-reach, reach).Draw(t, label+" offset")
	n := rapid.SliceOfN(rapid.Int64Range(-reach/2-1, reach/2), 1, 40).Draw(t, label)
	out := make([]float64, len(n))
	for i, v := range n {
		out[i] = float64(v + offset)
	}
	return out
}

func of(numbers []float64, decimals int8) (r roll.Roll) {
	for _, n := range numbers {
		r.Add(n, decimals)
	}
	return r
}

// near compares to within some roundings of a float64.
func near(a, b float64) bool { return math.Abs(a-b) <= 4e-15*max(math.Abs(a), math.Abs(b)) }

// Rolls of decimal numbers are those of rational arithmetic, however the readings
// were cut into parts, and in whatever order the parts were put together.
func TestGridIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		decimals := int8(rapid.IntRange(0, 6).Draw(t, "decimals"))
		numbers := drawNumbers(t, "numbers")
		mean, std := exact(numbers, decimals)
		whole := of(numbers, decimals)
		cut := rapid.IntRange(0, len(numbers)).Draw(t, "cut")
		parts := of(numbers[cut:], decimals)
		first := of(numbers[:cut], decimals)
		parts.Merge(&first)
		if parts != whole {
			t.Fatalf("parts add up to %+v, the whole is %+v", parts, whole)
		}
		scale := math.Pow10(int(decimals))
		if whole.Count != int64(len(numbers)) || !near(whole.Mean(), mean) || !near(whole.Std(), std) ||
			whole.Min() != slices.Min(numbers)/scale || whole.Max() != slices.Max(numbers)/scale {
			t.Fatalf("count %d min %v mean %v max %v std %v; want mean %v std %v of %v",
				whole.Count, whole.Min(), whole.Mean(), whole.Max(), whole.Std(), mean, std, numbers)
		}
	})
}

// Two grids and none: the finer grid holds both exactly, floating point to
// rounding. The reference is gonum's population statistics.
func TestMixedForms(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var values []float64
		var r roll.Roll
		for range rapid.IntRange(1, 4).Draw(t, "parts") {
			decimals := int8(rapid.IntRange(-1, 4).Draw(t, "decimals"))
			numbers := drawNumbers(t, "numbers")
			part := of(numbers, decimals)
			r.Merge(&part)
			for _, n := range numbers {
				values = append(values, n/roll.Scale(decimals))
			}
		}
		mean, std := stat.PopMeanStdDev(values, nil)
		size := max(math.Abs(slices.Min(values)), math.Abs(slices.Max(values)))
		if r.Count != int64(len(values)) || r.Min() != slices.Min(values) || r.Max() != slices.Max(values) ||
			math.Abs(r.Mean()-mean) > 1e-13*size || math.Abs(r.Std()-std) > 1e-7*size {
			t.Fatalf("%d, %v to %v, mean %v std %v; want %d, %v to %v, mean %v std %v", r.Count, r.Min(), r.Max(), r.Mean(), r.Std(),
				len(values), slices.Min(values), slices.Max(values), mean, std)
		}
	})
}

// By hand: of 2, 4, 4, 4, 5, 5, 7, 9 the mean is 5 and the standard deviation 2.
// Small deviations from large numbers do not drown.
func TestStd(t *testing.T) {
	for _, base := range []float64{0, 1e6, 1e9, -1e9} {
		var r roll.Roll
		for _, n := range []float64{2, 4, 4, 4, 5, 5, 7, 9} {
			r.Add(base+n, 0)
		}
		if r.Mean() != base+5 || r.Std() != 2 {
			t.Errorf("about %v: mean %v, std %v", base, r.Mean(), r.Std())
		}
	}
	var tenth roll.Roll
	for range 3 {
		tenth.Add(1, 1)
	}
	if tenth.Mean() != 0.1 || tenth.Std() != 0 {
		t.Errorf("of 0.1 three times: mean %v, std %v", tenth.Mean(), tenth.Std())
	}
}

// A page gives back the very rolls that went in. (Those whose squared deviations do
// not fit a word, of numbers beyond 10^8, are kept in floating point.)
func TestPageRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		step := int64(rapid.SampledFrom(roll.Resolutions()).Draw(t, "resolution").Step())
		start := rapid.Int64Range(0, 1<<40).Draw(t, "start") * step % (1 << 62)
		var rolls []roll.Roll
		index := int64(0)
		for range rapid.IntRange(0, 20).Draw(t, "rolls") {
			r := of(drawWithin(t, "numbers", 3, 5000, 1<<26), int8(rapid.IntRange(-1, 9).Draw(t, "decimals")))
			index += rapid.Int64Range(1, 40).Draw(t, "gap")
			r.Time = start + index*step
			rolls = append(rolls, r)
		}
		page := new(roll.Packer).Page(rolls, start, step)
		got, err := new(roll.Unpacker).Append(nil, page, start, step)
		if err != nil || !slices.Equal(got, rolls) {
			t.Fatalf("%v\ngot  %+v\nwant %+v", err, got, rolls)
		}
		if len(page) > 0 {
			page[rapid.IntRange(0, len(page)-1).Draw(t, "byte")] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
			if got, err := new(roll.Unpacker).Append(nil, page, start, step); !errors.Is(err, roll.ErrDamaged) || len(got) > 0 {
				t.Fatalf("a bit changed: %d rolls, %v", len(got), err)
			}
		}
	})
}

// FuzzUnpack: any bytes are a page that can be written again, or damaged.
func FuzzUnpack(f *testing.F) {
	var r roll.Roll
	r.Add(2034, 1)
	r.Add(2035, 1)
	f.Add(new(roll.Packer).Page([]roll.Roll{r}, 0, 1e9)[5:])
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, block []byte) {
		if rolls, err := new(roll.Unpacker).Append(nil, sealed(block), 0, 1e9); err != nil && (!errors.Is(err, roll.ErrDamaged) || len(rolls) > 0) {
			t.Fatalf("%d rolls, %v", len(rolls), err)
		}
	})
}

func TestCoarsest(t *testing.T) {
	for step, want := range map[time.Duration]string{
		time.Second: "1s", 3 * time.Second: "1s", 10 * time.Second: "10s", 90 * time.Second: "10s", time.Minute: "1m",
		7 * time.Minute: "1m", 10 * time.Minute: "10m", time.Hour: "10m", 24 * time.Hour: "10m",
	} {
		if r, ok := roll.Coarsest(step); !ok || r.String() != want {
			t.Errorf("%s: %s, %v; want %s", step, r, ok, want)
		}
	}
	for _, step := range []time.Duration{0, 100 * time.Millisecond, 1500 * time.Millisecond} {
		if r, ok := roll.Coarsest(step); ok {
			t.Errorf("%s: %s", step, r)
		}
	}
}

// sealed puts a right head before a block.
func sealed(block []byte) []byte {
	page := append([]byte{0, 0, 0, 0, 1}, block...)
	binary.LittleEndian.PutUint32(page, crc32.Checksum(page[4:], crc32.MakeTable(crc32.Castagnoli)))
	return page
}
