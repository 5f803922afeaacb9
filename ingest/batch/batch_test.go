package batch_test

import (
	"bytes"
	"encoding/hex"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"hawser/detect/reading"
	"hawser/ingest/batch"
	hawserv1 "hawser/proto/hawser/v1"
)

const newYear = 1_767_225_600_000_000_000 // 2026-01-01T00:00:00Z, `date -d 2026-01-01T00:00:00Z +%s`

// The bytes of the package comment's example, put together by hand from the
// protobuf encoding guide (protobuf.dev/programming-guides/encoding).
const example = "08 01" + "10 ff 93 d3 cc a2 ca 9c c3 18" + "1a 21" +
	"0a 09 37 2f 74 65 6e 73 69 6f 6e" +
	"10 80 80 e8 ef 9e ca 9c c3 18" +
	"20 64" + "30 03" + "38 01" + "42 04 ea 0d 09 0a"

func exampleBlock() *reading.Block {
	return &reading.Block{
		Sequence: 1, CompleteUntil: newYear + 999_999_999,
		Series: []reading.Series{{
			Channel:  reading.Channel{Line: "7", Kind: reading.Tension},
			Time:     []int64{newYear, newYear + 100e6, newYear + 200e6},
			Value:    []float64{88.5, 88, 88.5},
			Decimals: 1,
		}},
	}
}

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	p, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	must(t, err)
	return p
}

func TestExampleBytes(t *testing.T) {
	want := unhex(t, example)
	got, err := batch.Append(nil, exampleBlock())
	if err != nil || !bytes.Equal(got, want) {
		t.Fatalf("Append: % x, %v\nwant    % x", got, err, want)
	}
	var d batch.Decoder
	b, faults, err := d.Decode(want)
	if err != nil || len(faults) > 0 {
		t.Fatal(err, faults)
	}
	if b.Sequence != 1 || b.CompleteUntil != newYear+999_999_999 || len(b.Series) != 1 {
		t.Fatalf("%+v", b)
	}
	if diff := difference(&b.Series[0], &exampleBlock().Series[0]); diff != "" {
		t.Fatal(diff)
	}
}

// A value in decimals form is the float64 that strconv, which rounds correctly,
// makes of its text.
func TestDecimalsFormIsTheParsedText(t *testing.T) {
	var d batch.Decoder
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Int64Range(-1<<53, 1<<53).Draw(t, "n")
		decimals := rapid.IntRange(0, 9).Draw(t, "decimals")
		text := strconv.FormatInt(n, 10) + "e-" + strconv.Itoa(decimals)
		want, err := strconv.ParseFloat(text, 64)
		must(t, err)
		p, err := proto.Marshal(&hawserv1.Batch{Sequence: 1, Columns: []*hawserv1.Column{{
			Channel: "wind/speed", BaseTimeUnixNano: 1, Count: 1, Decimals: uint32(decimals), ValueDeltas: []int64{n},
		}}})
		must(t, err)
		b, faults, err := d.Decode(p)
		if err != nil || len(faults) > 0 {
			t.Fatal(err, faults)
		}
		if got := b.Series[0].Value[0]; got != want {
			t.Fatalf("%s: got %v, want %v", text, got, want)
		}
	})
}

// drawBlock draws a block as a source makes it: a bad reading has any value, and a late
// one may be of any age.
func drawBlock(t *rapid.T) *reading.Block {
	b := &reading.Block{
		Sequence:      rapid.Uint64Min(1).Draw(t, "sequence"),
		CompleteUntil: rapid.Int64Min(0).Draw(t, "complete until"),
	}
	for range rapid.IntRange(0, 5).Draw(t, "series") {
		b.Series = append(b.Series, drawSeries(t))
	}
	return b
}

func drawSeries(t *rapid.T) reading.Series {
	n := rapid.IntRange(0, 40).Draw(t, "n")
	s := reading.Series{
		Channel: rapid.SampledFrom([]reading.Channel{
			{Line: "7", Kind: reading.Tension}, {Line: "FB-2", Kind: reading.Payout}, {Line: "ø", Kind: reading.Brake},
			{Kind: reading.WindSpeed}, {Kind: reading.UnderWatch},
		}).Draw(t, "channel"),
		Decimals: int8(rapid.IntRange(-1, 10).Draw(t, "decimals")),
	}
	unit := rapid.SampledFrom([]int64{1, 7, 1e3, 1e6, 50e6, 1e9}).Draw(t, "unit")
	steps := rapid.SampledFrom([]*rapid.Generator[int64]{
		rapid.Just(int64(2)), rapid.Int64Range(0, 3), rapid.Int64Range(-20, 60),
	}).Draw(t, "steps")
	at := rapid.Int64Range(newYear, newYear+1e15).Draw(t, "start")
	late := rapid.Bool().Draw(t, "any not good")
	for range n {
		s.Time = append(s.Time, at)
		at += unit * steps.Draw(t, "step")
		v := rapid.Float64().Draw(t, "value")
		if s.Decimals >= 0 && rapid.IntRange(0, 50).Draw(t, "on grid") > 0 {
			v = float64(rapid.Int64Range(-1e5, 1e5).Draw(t, "n")) / math.Pow10(int(s.Decimals))
		}
		q := reading.Good
		if late {
			q = rapid.SampledFrom([]reading.Quality{reading.Good, reading.Bad, reading.Late}).Draw(t, "quality")
			s.Quality = append(s.Quality, q)
		}
		if q == reading.Bad {
			v = rapid.SampledFrom([]float64{0, v, math.NaN(), math.Inf(1)}).Draw(t, "bad value")
		}
		if q == reading.Late && rapid.IntRange(0, 4).Draw(t, "of long ago") == 0 {
			s.Time[len(s.Time)-1] -= 86400e9
		}
		s.Value = append(s.Value, v)
	}
	return s
}

func onGrid(s *reading.Series) bool {
	for _, v := range s.Value {
		// %.*f rounds correctly and ParseFloat is its inverse on the grid.
		back, err := strconv.ParseFloat(strconv.FormatFloat(v, 'f', int(s.Decimals), 64), 64)
		if err != nil || math.Float64bits(back) != math.Float64bits(v) || v == 0 && math.Signbit(v) {
			return false
		}
		if math.Abs(math.RoundToEven(v*math.Pow10(int(s.Decimals)))) > 1<<50 {
			return false
		}
	}
	return true
}

func checkRoundTrip(t *rapid.T, d *batch.Decoder, b *reading.Block) {
	prefix := []byte("before")
	p, err := batch.Append(prefix, b)
	must(t, err)
	p, ok := bytes.CutPrefix(p, prefix)
	if !ok {
		t.Fatal("what stood in dst is gone")
	}
	checkAgainstReference(t, d, p)
	got, faults, err := d.Decode(p)
	if err != nil || len(faults) > 0 {
		t.Fatal(err, faults)
	}
	if got.Sequence != b.Sequence || got.CompleteUntil != b.CompleteUntil {
		t.Fatalf("got %d, %d", got.Sequence, got.CompleteUntil)
	}
	column := 0
	for i := range b.Series {
		want := b.Series[i]
		if want.Len() == 0 {
			continue
		}
		want.Value = slices.Clone(want.Value)
		for j := range want.Value {
			if want.QualityAt(j) == reading.Bad {
				want.Value[j] = 0 // whatever stood there
			}
		}
		if want.Decimals < 0 || want.Decimals > 9 || !onGrid(&want) {
			want.Decimals = -1
		}
		if diff := difference(&got.Series[column], &want); diff != "" {
			t.Fatalf("series %d: %s", i, diff)
		}
		column++
	}
	if column != len(got.Series) {
		t.Fatalf("%d columns for %d series", len(got.Series), column)
	}
}

func TestRoundTrip(t *testing.T) {
	var d batch.Decoder
	rapid.Check(t, func(t *rapid.T) { checkRoundTrip(t, &d, drawBlock(t)) })
}

func FuzzRoundTrip(f *testing.F) {
	f.Fuzz(rapid.MakeFuzz(func(t *rapid.T) {
		var d batch.Decoder
		checkRoundTrip(t, &d, drawBlock(t))
	}))
}

func TestAppendPicksTheTick(t *testing.T) {
	for _, c := range []struct {
		name         string
		times        []int64
		tick, period int64 // as in the schema: tick 0 is 1 ms
		deltas       []int64
	}{
		{name: "regular milliseconds", times: []int64{5, 5 + 1e8, 5 + 2e8}, tick: 0, period: 100},
		{name: "regular microseconds", times: []int64{1, 1 + 1_500_000, 1 + 3_000_000}, tick: 1000, period: 1500},
		{name: "nanoseconds", times: []int64{1, 8, 15}, tick: 1, period: 7},
		{name: "one reading", times: []int64{1}, tick: 0, period: 0},
		{name: "jitter", times: []int64{1, 1 + 100e6, 1 + 201e6, 1 + 300e6}, tick: 0, period: 100, deltas: []int64{0, 1, -1}},
		{name: "gap first", times: []int64{1, 1 + 9e9, 1 + 91e8, 1 + 92e8}, tick: 0, period: 100, deltas: []int64{8900, 0, 0}},
		{name: "backwards", times: []int64{3e9, 2e9, 1e9}, tick: 0, period: 0, deltas: []int64{-1000, -1000}},
		{name: "standing still", times: []int64{1, 1, 1}, tick: 0, period: 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, err := batch.Append(nil, &reading.Block{Sequence: 1, Series: []reading.Series{{
				Channel: reading.Channel{Kind: reading.WaterLevel}, Time: c.times, Value: make([]float64, len(c.times)),
			}}})
			must(t, err)
			var m hawserv1.Batch
			must(t, proto.Unmarshal(p, &m))
			want := &hawserv1.Column{
				Channel: "water/level", BaseTimeUnixNano: c.times[0], TickNanos: uint32(c.tick), PeriodTicks: uint32(c.period),
				TimeDeltas: c.deltas, Count: uint32(len(c.times)), ValueDeltas: make([]int64, len(c.times)),
			}
			if !proto.Equal(m.Columns[0], want) {
				t.Fatalf("got  %v\nwant %v", m.Columns[0], want)
			}
			checkAgainstReference(t, new(batch.Decoder), p)
		})
	}
}

func TestAppendRefuses(t *testing.T) {
	good := func() *reading.Block { return exampleBlock() }
	long := make([]int64, batch.MaxSamples+1)
	for i := range long {
		long[i] = int64(i + 1)
	}
	for _, c := range []struct {
		name  string
		spoil func(*reading.Block, *reading.Series)
		want  string
	}{
		{"no sequence", func(b *reading.Block, _ *reading.Series) { b.Sequence = 0 }, "sequence is 0, expected 1 or more"},
		{"negative promise", func(b *reading.Block, _ *reading.Series) { b.CompleteUntil = -1 }, "complete until is -1, expected 0 or more"},
		{"NaN not marked", func(_ *reading.Block, s *reading.Series) { s.Value[1] = math.NaN() }, "series 0 7/tension: reading 1: value NaN is not marked bad"},
		{"Inf not marked", func(_ *reading.Block, s *reading.Series) { s.Value[2] = math.Inf(-1) }, "series 0 7/tension: reading 2: value -Inf is not marked bad"},
		{"values short", func(_ *reading.Block, s *reading.Series) { s.Value = s.Value[:2] }, "series 0 7/tension: 2 values for 3 times"},
		{"qualities short", func(_ *reading.Block, s *reading.Series) { s.Quality = []reading.Quality{0} }, "series 0 7/tension: 1 qualities for 3 times"},
		{"unknown quality", func(_ *reading.Block, s *reading.Series) { s.Quality = []reading.Quality{0, 0, 3} }, "series 0 7/tension: reading 2: unknown quality 3"},
		{"time 0", func(_ *reading.Block, s *reading.Series) { s.Time[0] = 0 }, "series 0 7/tension: reading 0: time 0 is not after 1970"},
		{"time before 1970", func(_ *reading.Block, s *reading.Series) { s.Time = []int64{5, 1, -5} }, "series 0 7/tension: reading 2: time -5 is not after 1970"},
		{"two hours", func(_ *reading.Block, s *reading.Series) { s.Time[2] = s.Time[0] + 7200e9 }, "series 0 7/tension: readings span 7200 s, expected at most 3600 s"},
		{"too many readings", func(_ *reading.Block, s *reading.Series) { s.Time = long }, "series 0 7/tension: 20001 readings, expected at most 20000"},
		{"no kind", func(_ *reading.Block, s *reading.Series) { s.Channel.Kind = reading.Unknown }, "series 0 unknown: unknown kind of channel"},
		{"no line", func(_ *reading.Block, s *reading.Series) { s.Channel.Line = "" }, `series 0 /tension: line "" makes no channel name of at most 40 characters`},
		{"slash in line", func(_ *reading.Block, s *reading.Series) { s.Channel.Line = "a/b" }, `series 0 a/b/tension: line "a/b" makes no channel name of at most 40 characters`},
		{"line on wind", func(_ *reading.Block, s *reading.Series) { s.Channel.Kind = reading.WindSpeed }, `series 0 wind/speed: line "7" on a channel of the berth`},
		{"too many series", func(b *reading.Block, s *reading.Series) {
			for range batch.MaxColumns {
				b.Series = append(b.Series, *s)
			}
		}, "over 512 series"},
		{"too many bytes", func(b *reading.Block, s *reading.Series) {
			s.Time, s.Value, s.Decimals = long[:batch.MaxSamples], make([]float64, batch.MaxSamples), -1
			for range 9 {
				b.Series = append(b.Series, *s)
			}
		}, "series 6 7/tension: batch is over 1048576 bytes"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := good()
			c.spoil(b, &b.Series[0])
			dst := []byte("as it was")
			p, err := batch.Append(dst, b)
			if err == nil || err.Error() != c.want {
				t.Fatalf("got  %v\nwant %s", err, c.want)
			}
			if string(p) != "as it was" {
				t.Fatalf("dst is %q", p)
			}
		})
	}
}
