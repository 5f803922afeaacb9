package batch_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"hawser/detect/reading"
	"hawser/ingest/batch"
	hawserv1 "hawser/proto/hawser/v1"
)

// drawMessage draws a batch as any sender of the schema might make it, right or
// wrong.
func drawMessage(t *rapid.T) *hawserv1.Batch {
	m := &hawserv1.Batch{
		Sequence:              rapid.SampledFrom([]uint64{0, 1, 1, 1, 9, math.MaxUint64}).Draw(t, "sequence"),
		CompleteUntilUnixNano: rapid.SampledFrom([]int64{-1, 0, 1, newYear}).Draw(t, "complete until"),
	}
	for range rapid.IntRange(0, 4).Draw(t, "columns") {
		m.Columns = append(m.Columns, drawColumn(t))
	}
	return m
}

func drawColumn(t *rapid.T) *hawserv1.Column {
	n := rapid.IntRange(0, 6).Draw(t, "n")
	oneIn := func(k int) bool { return rapid.IntRange(1, k).Draw(t, "odd") == 1 }
	length := func(want int) int {
		if oneIn(12) {
			return rapid.IntRange(0, 7).Draw(t, "length")
		}
		return max(want, 0)
	}
	small := rapid.Int64Range(-70, 200)
	if oneIn(4) {
		small = rapid.Int64()
	}
	c := &hawserv1.Column{
		Channel: rapid.SampledFrom([]string{"7/tension", "7/tension", "wind/speed", "", "nothing", "/brake",
			strings.Repeat("é", 32) + "/tension", strings.Repeat("é", 33) + "/tension"}).Draw(t, "channel"),
		BaseTimeUnixNano: rapid.SampledFrom([]int64{newYear, newYear, newYear, 1, 0, -5, math.MaxInt64, math.MaxInt64 - 5e9}).Draw(t, "base"),
		TickNanos:        rapid.SampledFrom([]uint32{0, 1, 1000, 1e9, math.MaxUint32}).Draw(t, "tick"),
		PeriodTicks:      rapid.SampledFrom([]uint32{0, 1, 100, 3_600_000, math.MaxUint32}).Draw(t, "period"),
		Count:            uint32(n),
		Decimals:         uint32(rapid.IntRange(0, 10).Draw(t, "decimals")),
	}
	for range length((n - 1) * rapid.IntRange(0, 1).Draw(t, "irregular")) {
		c.TimeDeltas = append(c.TimeDeltas, small.Draw(t, "time delta"))
	}
	if rapid.Bool().Draw(t, "exact") {
		for range length(n) {
			c.ExactValues = append(c.ExactValues, rapid.SampledFrom([]float64{0, 1, -1e300, 5e-324, math.Copysign(0, -1),
				math.Inf(1), math.NaN()}).Draw(t, "value"))
		}
	}
	if len(c.ExactValues) == 0 || oneIn(8) {
		for range length(n) {
			c.ValueDeltas = append(c.ValueDeltas, small.Draw(t, "value delta"))
		}
	}
	for range length(n * rapid.IntRange(0, 1).Draw(t, "qualities")) {
		c.Qualities = append(c.Qualities, hawserv1.Quality(rapid.Int32Range(0, 2).Draw(t, "quality")))
		if oneIn(40) {
			c.Qualities[0] = hawserv1.Quality(rapid.Int32().Draw(t, "foreign quality"))
		}
	}
	return c
}

// scramble writes a message as another encoder might: fields in any order,
// repeated ones in any mix of packed pieces and single elements, foreign fields
// between, tags longer than need be.
func scramble(t *rapid.T, m *hawserv1.Batch) []byte {
	fields := [][]byte{
		foreign(t),
		protowire.AppendVarint([]byte{1 << 3}, m.Sequence),
		protowire.AppendVarint([]byte{2 << 3}, uint64(m.CompleteUntilUnixNano)),
	}
	for _, c := range m.Columns {
		fields = append(fields, protowire.AppendBytes([]byte{3<<3 | 2}, scrambleColumn(t, c)))
	}
	// Columns keep their order among themselves.
	var p []byte
	for _, f := range fields {
		p = append(append(p, f...), foreign(t)...)
	}
	return p
}

func scrambleColumn(t *rapid.T, c *hawserv1.Column) []byte {
	fields := [][]byte{
		foreign(t),
		protowire.AppendString([]byte{1<<3 | 2}, c.Channel),
		protowire.AppendVarint([]byte{2 << 3}, uint64(c.BaseTimeUnixNano)),
		protowire.AppendVarint([]byte{3<<3 | 0x80, 0}, uint64(c.TickNanos)),
		protowire.AppendVarint([]byte{4 << 3}, uint64(c.PeriodTicks)),
		protowire.AppendVarint([]byte{6 << 3}, uint64(c.Count)),
		protowire.AppendVarint([]byte{7 << 3}, uint64(c.Decimals)),
	}
	zigzag := func(values []int64) (out [][]byte) {
		for _, v := range values {
			out = append(out, protowire.AppendVarint(nil, protowire.EncodeZigZag(v)))
		}
		return out
	}
	var exact, qualities [][]byte
	for _, v := range c.ExactValues {
		exact = append(exact, protowire.AppendFixed64(nil, math.Float64bits(v)))
	}
	for _, q := range c.Qualities {
		qualities = append(qualities, protowire.AppendVarint(nil, uint64(int64(q))))
	}
	fields = append(fields,
		pieces(t, 5, protowire.VarintType, zigzag(c.TimeDeltas)),
		pieces(t, 8, protowire.VarintType, zigzag(c.ValueDeltas)),
		pieces(t, 9, protowire.Fixed64Type, exact),
		pieces(t, 10, protowire.VarintType, qualities))
	var p []byte
	for _, f := range rapid.Permutation(fields).Draw(t, "order") {
		p = append(p, f...)
	}
	return p
}

// pieces writes a repeated field's elements in one or more runs, each packed or not.
func pieces(t *rapid.T, number protowire.Number, kind protowire.Type, elements [][]byte) []byte {
	var p []byte
	for len(elements) > 0 {
		n := rapid.IntRange(1, len(elements)).Draw(t, "run")
		var run []byte
		for _, e := range elements[:n] {
			run = append(run, e...)
			if n == 1 {
				p = append(protowire.AppendTag(p, number, kind), e...)
				run = nil
			}
		}
		if n > 1 || rapid.Bool().Draw(t, "empty piece") {
			p = protowire.AppendBytes(protowire.AppendTag(p, number, protowire.BytesType), run)
		}
		elements = elements[n:]
	}
	return p
}

// foreign is a field the schema does not have, or has in another wire type.
func foreign(t *rapid.T) []byte {
	return rapid.SampledFrom([][]byte{nil, nil, nil,
		{15 << 3, 7},                         // varint
		{15<<3 | 2, 2, 1, 2},                 // bytes
		{1<<3 | 5, 1, 2, 3, 4},               // field 1 as fixed32
		{15<<3 | 3, 1 << 3, 9, 15<<3 | 4},    // group with a field
		{0xf8, 0xff, 0xff, 0xff, 0x0f, 0x01}, // the highest field number there is
	}).Draw(t, "foreign")
}

func TestDecodeAgreesWithProtobuf(t *testing.T) {
	var d batch.Decoder
	rapid.Check(t, func(t *rapid.T) {
		m := drawMessage(t)
		p, err := proto.Marshal(m)
		must(t, err)
		checkAgainstReference(t, &d, p)
		scrambled := scramble(t, m)
		checkAgainstReference(t, &d, scrambled)
		if len(scrambled) > 0 { // torn and flipped
			checkAgainstReference(t, &d, scrambled[:rapid.IntRange(0, len(scrambled)).Draw(t, "cut")])
			scrambled[rapid.IntRange(0, len(scrambled)-1).Draw(t, "at")] ^= rapid.Byte().Draw(t, "flip")
			checkAgainstReference(t, &d, scrambled)
		}
	})
}

// FuzzDecode holds that Decode never panics and agrees with protobuf's decoder
// and the schema's constraints on any bytes.
func FuzzDecode(f *testing.F) {
	f.Add(unhex(f, example))
	for _, c := range columnFaults {
		m := faulty(c.spoil)
		p, err := proto.Marshal(m)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(p)
	}
	f.Add([]byte("\x08\x01\x1a\x0c\x0a\x00\x40\x01\x40\x02\x42\x01\x80\x48\x01\x50"))
	f.Fuzz(func(t *testing.T, p []byte) {
		if len(p) > batch.MaxBytes {
			return
		}
		var d batch.Decoder
		checkAgainstReference(t, &d, p)
	})
}

var columnFaults = []struct {
	name   string
	spoil  func(*hawserv1.Column)
	reason string
	want   string
}{
	{"no name", func(c *hawserv1.Column) { c.Channel = "" }, batch.ReasonChannel, "columns[1] : channel name of 0 characters, expected 1 to 40"},
	{"long name", func(c *hawserv1.Column) { c.Channel = strings.Repeat("é", 41) }, batch.ReasonChannel, "columns[1] " + strings.Repeat("é", 40) + ": channel name of 41 characters, expected 1 to 40"},
	{"unknown name", func(c *hawserv1.Column) { c.Channel = "7/temperature" }, batch.ReasonChannel, `columns[1] 7/temperature: unknown channel "7/temperature"`},
	{"no count", func(c *hawserv1.Column) { c.Count = 0 }, batch.ReasonCount, "columns[1] 7/tension: count is 0, expected 1 to 20000"},
	{"high count", func(c *hawserv1.Column) { c.Count = 20001 }, batch.ReasonCount, "columns[1] 7/tension: count is 20001, expected 1 to 20000"},
	{"few values", func(c *hawserv1.Column) { c.Count = 4; c.TimeDeltas = nil }, batch.ReasonCount, "columns[1] 7/tension: value_deltas has 3 elements, expected 4"},
	{"many values", func(c *hawserv1.Column) { c.Count = 2; c.TimeDeltas = nil }, batch.ReasonCount, "columns[1] 7/tension: value_deltas has 3 elements, expected 2"},
	{"few wide values", func(c *hawserv1.Column) { c.ValueDeltas = []int64{885, 300} }, batch.ReasonCount, "columns[1] 7/tension: value_deltas has 2 elements, expected 3"},
	{"many exact", func(c *hawserv1.Column) { c.ValueDeltas = nil; c.ExactValues = make([]float64, 4) }, batch.ReasonCount, "columns[1] 7/tension: exact_values has 4 elements, expected 3"},
	{"both forms", func(c *hawserv1.Column) { c.ExactValues = make([]float64, 3) }, batch.ReasonCount, "columns[1] 7/tension: both value_deltas and exact_values, expected one of them"},
	{"few times", func(c *hawserv1.Column) { c.TimeDeltas = []int64{1} }, batch.ReasonCount, "columns[1] 7/tension: time_deltas has 1 elements, expected 2"},
	{"many times", func(c *hawserv1.Column) { c.TimeDeltas = []int64{1, 2, 3} }, batch.ReasonCount, "columns[1] 7/tension: time_deltas has 3 elements, expected 2"},
	{"few qualities", func(c *hawserv1.Column) { c.Qualities = make([]hawserv1.Quality, 2) }, batch.ReasonCount, "columns[1] 7/tension: qualities has 2 elements, expected 3"},
	{"many qualities", func(c *hawserv1.Column) { c.Qualities = make([]hawserv1.Quality, 5) }, batch.ReasonCount, "columns[1] 7/tension: qualities has 5 elements, expected 3"},
	{"foreign quality", func(c *hawserv1.Column) { c.Qualities = []hawserv1.Quality{0, 3, 0} }, batch.ReasonQuality, "columns[1] 7/tension: reading 1: unknown quality 3"},
	{"negative quality", func(c *hawserv1.Column) { c.Qualities = []hawserv1.Quality{0, -1, 0} }, batch.ReasonQuality, "columns[1] 7/tension: reading 1: unknown quality -1"},
	{"no base time", func(c *hawserv1.Column) { c.BaseTimeUnixNano = 0 }, batch.ReasonTime, "columns[1] 7/tension: base_time_unix_nano is 0, expected more than 0"},
	{"beyond int64", func(c *hawserv1.Column) { c.BaseTimeUnixNano = math.MaxInt64; c.TimeDeltas = nil }, batch.ReasonTime, "columns[1] 7/tension: a reading's time is not between 1970 and 2262"},
	{"overflow of tick and period", func(c *hawserv1.Column) {
		c.TimeDeltas, c.TickNanos, c.PeriodTicks = nil, math.MaxUint32, math.MaxUint32
	}, batch.ReasonTime, "columns[1] 7/tension: a reading's time is not between 1970 and 2262"},
	{"step beyond int64", func(c *hawserv1.Column) { c.TimeDeltas = []int64{0, math.MaxInt64} }, batch.ReasonTime, "columns[1] 7/tension: reading 2: a step of over 146 years"},
	{"step back beyond 1970", func(c *hawserv1.Column) { c.TimeDeltas = []int64{-2_000_000_000_000, 0} }, batch.ReasonTime, "columns[1] 7/tension: reading 1: time is not between 1970 and 2262"},
	{"step back to 0", func(c *hawserv1.Column) {
		c.BaseTimeUnixNano, c.PeriodTicks, c.TimeDeltas = 1e6, 0, []int64{-1, 1}
	}, batch.ReasonTime, "columns[1] 7/tension: reading 1: time is not between 1970 and 2262"},
	{"two hours", func(c *hawserv1.Column) { c.TimeDeltas = []int64{0, 7_200_000} }, batch.ReasonTime, "columns[1] 7/tension: readings span 7200 s, expected at most 3600 s"},
	{"ten decimals", func(c *hawserv1.Column) { c.Decimals = 10 }, batch.ReasonValue, "columns[1] 7/tension: decimals is 10, expected at most 9"},
	{"beyond 2^53", func(c *hawserv1.Column) { c.ValueDeltas[1] = 1 << 53 }, batch.ReasonValue, "columns[1] 7/tension: reading 1: scaled value is beyond 2^53"},
	{"just beyond 2^53", func(c *hawserv1.Column) { c.ValueDeltas = []int64{1 << 53, 1, 0} }, batch.ReasonValue, "columns[1] 7/tension: reading 1: scaled value is beyond 2^53"},
	{"just beyond -2^53", func(c *hawserv1.Column) { c.ValueDeltas = []int64{-1 << 53, -1, 0} }, batch.ReasonValue, "columns[1] 7/tension: reading 1: scaled value is beyond 2^53"},
	{"wrapping deltas", func(c *hawserv1.Column) { c.ValueDeltas = []int64{1 << 53, math.MaxInt64, 0} }, batch.ReasonValue, "columns[1] 7/tension: reading 1: scaled value is beyond 2^53"},
	{"NaN taken for good", func(c *hawserv1.Column) { c.ValueDeltas = nil; c.ExactValues = []float64{1, 2, math.NaN()} }, batch.ReasonValue, "columns[1] 7/tension: reading 2: value NaN is not marked bad"},
}

// faulty is three columns with the middle one spoilt.
func faulty(spoil func(*hawserv1.Column)) *hawserv1.Batch {
	m := &hawserv1.Batch{Sequence: 1}
	for range 3 {
		m.Columns = append(m.Columns, &hawserv1.Column{
			Channel: "7/tension", BaseTimeUnixNano: newYear, PeriodTicks: 100, TimeDeltas: []int64{0, 1},
			Count: 3, Decimals: 1, ValueDeltas: []int64{885, -5, 5},
		})
	}
	spoil(m.Columns[1])
	return m
}

func TestFaultCostsItsColumnOnly(t *testing.T) {
	for _, c := range columnFaults {
		t.Run(c.name, func(t *testing.T) {
			p, err := proto.Marshal(faulty(c.spoil))
			must(t, err)
			var d batch.Decoder
			b, faults, err := d.Decode(p)
			if err != nil || len(faults) != 1 {
				t.Fatalf("error %v, faults %v", err, faults)
			}
			if faults[0].Error() != c.want || faults[0].Reason != c.reason {
				t.Fatalf("got  %s: %v\nwant %s: %s", faults[0].Reason, faults[0], c.reason, c.want)
			}
			if b.Series[1].Len() != 0 {
				t.Fatal("the faulty column has readings")
			}
			want := reading.Series{
				Channel: reading.Channel{Line: "7", Kind: reading.Tension}, Decimals: 1,
				Time: []int64{newYear, newYear + 100e6, newYear + 201e6}, Value: []float64{88.5, 88, 88.5},
			}
			for _, i := range []int{0, 2} {
				if diff := difference(&b.Series[i], &want); diff != "" {
					t.Fatalf("column %d: %s", i, diff)
				}
			}
		})
	}
}

func TestNotABatch(t *testing.T) {
	many := &hawserv1.Batch{Sequence: 1}
	for range batch.MaxColumns + 1 {
		many.Columns = append(many.Columns, faulty(func(*hawserv1.Column) {}).Columns[0])
	}
	tooMany, err := proto.Marshal(many)
	must(t, err)
	for _, c := range []struct {
		name      string
		p         []byte
		want      string
		malformed bool
	}{
		{"nothing", nil, "sequence is 0, expected 1 or more", false},
		{"promise before 1970", []byte("\x08\x01\x10\xff\xff\xff\xff\xff\xff\xff\xff\xff\x01"), "complete_until_unix_nano is -1, expected 0 or more", false},
		{"too many columns", tooMany, "over 512 columns", false},
		{"too long", make([]byte, batch.MaxBytes+1), "not a batch: 1048577 bytes, expected at most 1048576", true},
		{"text", []byte("time,channel,value\n"), "not a batch: no field at byte 0", true},
		{"zeros", make([]byte, 16), "not a batch: no field at byte 0", true},
		{"torn", unhex(t, example)[:40], "not a batch: no field at byte 12", true},
		{"field number too high", []byte("\x08\x01\x80\x80\x80\x80\x10\x00"), "not a batch: no field at byte 2", true},
		{"torn within a column", []byte("\x08\x01\x1a\x02\x0a\x05"), "not a batch: columns[0] is damaged", true},
		{"name no UTF-8", []byte("\x08\x01\x1a\x03\x0a\x01\xff"), "not a batch: columns[0] is damaged", true},
		{"varint cut by its field", []byte("\x08\x01\x1a\x03\x42\x01\x80"), "not a batch: columns[0] is damaged", true},
		{"varint over two pieces", []byte("\x08\x01\x1a\x16\x0a\x0awind/speed\x10\x01\x30\x01\x42\x01\x80\x42\x01\x01"), "not a batch: columns[0] is damaged", true},
		{"varint too long, in an already faulty column", []byte("\x08\x01\x1a\x0d\x42\x0b\xff\xff\xff\xff\xff\xff\xff\xff\xff\xff\x01"), "not a batch: columns[0] is damaged", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			var d batch.Decoder
			b, faults, err := d.Decode(c.p)
			if b != nil || faults != nil || err == nil || err.Error() != c.want {
				t.Fatalf("got %v, %v, %v\nwant %s", b, faults, err, c.want)
			}
			if errors.Is(err, batch.ErrMalformed) != c.malformed {
				t.Fatalf("malformed is %v", !c.malformed)
			}
		})
	}
}

// What Decode gave for the batch before does not show in the next.
func TestDecoderForgets(t *testing.T) {
	var d batch.Decoder
	rapid.Check(t, func(t *rapid.T) {
		for range 3 {
			p, err := proto.Marshal(drawMessage(t))
			must(t, err)
			var fresh batch.Decoder
			want, wantFaults, wantErr := fresh.Decode(p)
			got, faults, err := d.Decode(p)
			if (err == nil) != (wantErr == nil) || len(faults) != len(wantFaults) {
				t.Fatalf("used %v, %v; fresh %v, %v", err, faults, wantErr, wantFaults)
			}
			if err != nil {
				continue
			}
			for i := range want.Series {
				if diff := difference(&got.Series[i], &want.Series[i]); diff != "" {
					t.Fatalf("column %d: %s", i, diff)
				}
			}
		}
	})
}
