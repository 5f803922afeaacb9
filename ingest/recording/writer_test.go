package recording_test

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"hawser/detect/reading"
	"hawser/ingest/recording"
)

func write(t rapid.TB, blocks []*reading.Block, o recording.WriterOptions) string {
	t.Helper()
	var out bytes.Buffer
	w := recording.NewWriter(&out, o)
	for _, b := range blocks {
		must(t, w.Write(b))
	}
	must(t, errors.Join(w.Close(), w.Close()))
	return out.String()
}

func exampleBlock() *reading.Block {
	return &reading.Block{Sequence: 1, CompleteUntil: newYear + 999_999_999, Series: []reading.Series{
		{Channel: reading.Channel{Line: "7", Kind: reading.Tension}, Decimals: 1,
			Time: []int64{newYear, newYear + 100e6, newYear + 200e6}, Value: []float64{88.5, 88, 0},
			Quality: []reading.Quality{reading.Good, reading.Late, reading.Bad}},
		{Channel: reading.Channel{Kind: reading.WindSpeed}, Decimals: -1,
			Time: []int64{newYear + 100e6, newYear + 100e6}, Value: []float64{0.30000000000000004, 1e21}},
	}}
}

func TestWriterText(t *testing.T) {
	const want = `time,channel,value
2026-01-01T00:00:00.000Z,7/tension,88.5
2026-01-01T00:00:00.100Z,7/tension,88.0
2026-01-01T00:00:00.100Z,wind/speed,0.30000000000000004
2026-01-01T00:00:00.100Z,wind/speed,1000000000000000000000
2026-01-01T00:00:00.200Z,7/tension,NaN
`
	got := write(t, []*reading.Block{exampleBlock()}, recording.WriterOptions{})
	if got != want {
		t.Fatalf("got\n%s", got)
	}
	packed := write(t, []*reading.Block{exampleBlock()}, recording.WriterOptions{Gzip: true})
	z, err := gzip.NewReader(strings.NewReader(packed))
	must(t, err)
	if unpacked, err := io.ReadAll(z); err != nil || string(unpacked) != want {
		t.Fatalf("%v, got\n%s", err, unpacked)
	}
	millis := write(t, []*reading.Block{exampleBlock()}, recording.WriterOptions{Time: recording.UnixMilli})
	if !strings.HasPrefix(millis, "time,channel,value\n1767225600000,7/tension,88.5\n1767225600100,7/tension,88.0\n") {
		t.Fatalf("got\n%s", millis)
	}
	fine := &reading.Block{Sequence: 1, Series: []reading.Series{{Channel: reading.Channel{Kind: reading.WaterLevel},
		Time: []int64{newYear + 1_001_000, newYear + 1_001_001, newYear + 60e9}, Value: make([]float64, 3)}}}
	if got := write(t, []*reading.Block{fine}, recording.WriterOptions{}); got != `time,channel,value
2026-01-01T00:00:00.001001Z,water/level,0
2026-01-01T00:00:00.001001001Z,water/level,0
2026-01-01T00:01:00.000Z,water/level,0
` {
		t.Fatalf("got\n%s", got)
	}
}

type full struct{ room int }

var errFull = errors.New("no space left")

func (f *full) Write(p []byte) (int, error) {
	if f.room -= len(p); f.room < 0 {
		return 0, errFull
	}
	return len(p), nil
}

func TestWriterErrors(t *testing.T) {
	w := recording.NewWriter(io.Discard, recording.WriterOptions{Time: recording.UnixMilli})
	b := exampleBlock()
	b.Series[0].Time[1]++
	want := "7/tension: time 1767225600100000001 ns is not on the millisecond"
	if err := w.Write(b); err == nil || err.Error() != want {
		t.Fatal(err)
	}
	if err := w.Write(exampleBlock()); err == nil || err.Error() != want {
		t.Fatalf("the error is forgotten: %v", err)
	}
	if err := w.Close(); err == nil || err.Error() != want {
		t.Fatal(err)
	}
	b.Series[0].Time[0] = -1
	if err := recording.NewWriter(io.Discard, recording.WriterOptions{}).Write(b); err == nil ||
		err.Error() != "7/tension: time -1 ns: expected a time from 1970 to 2261" {
		t.Fatal(err)
	}
	for _, packed := range []bool{false, true} {
		w := recording.NewWriter(&full{room: 5}, recording.WriterOptions{Gzip: packed})
		if err := errors.Join(w.Write(exampleBlock()), w.Close()); !errors.Is(err, errFull) {
			t.Fatalf("gzip %v: %v", packed, err)
		}
		if err := w.Write(exampleBlock()); err == nil || err.Error() != "recording is closed" {
			t.Fatal(err)
		}
	}
}

// drawBlocks draws blocks as a Reader gives them: a window each, no late
// readings, values on the grid or not.
func drawBlocks(t *rapid.T) []*reading.Block {
	var blocks []*reading.Block
	second := int64(1_767_225_600)
	channels := []reading.Channel{ // by name
		{Line: "10", Kind: reading.Payout}, {Line: "7", Kind: reading.Tension}, {Kind: reading.UnderWatch}, {Kind: reading.WindSpeed},
	}
	for range rapid.IntRange(1, 6).Draw(t, "blocks") {
		second += rapid.Int64Range(1, 100).Draw(t, "second")
		b := &reading.Block{Sequence: uint64(len(blocks) + 1), CompleteUntil: second*1e9 + 999_999_999}
		for _, c := range channels {
			s := reading.Series{Channel: c, Decimals: int8(rapid.IntRange(-1, 4).Draw(t, "decimals"))}
			at := second * 1000
			for n := rapid.IntRange(0, 5).Draw(t, "n"); n > 0; n-- {
				at += rapid.Int64Range(0, 190).Draw(t, "step")
				s.Time = append(s.Time, at*1e6)
				v, q := rapid.Float64().Draw(t, "value"), reading.Good
				if s.Decimals >= 0 {
					v = float64(rapid.Int64Range(-99_999_999, 99_999_999).Draw(t, "n")) / math.Pow10(int(s.Decimals))
				}
				if rapid.IntRange(1, 9).Draw(t, "bad") == 1 {
					v, q = 0, reading.Bad
				}
				s.Value, s.Quality = append(s.Value, v), append(s.Quality, q)
			}
			if s.Len() > 0 {
				b.Series = append(b.Series, s)
			}
		}
		if len(b.Series) > 0 {
			blocks = append(blocks, b)
		}
	}
	return blocks
}

func TestWriteThenRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		blocks := drawBlocks(t)
		o := recording.WriterOptions{Gzip: rapid.Bool().Draw(t, "gzip")}
		if rapid.Bool().Draw(t, "milliseconds") {
			o.Time = recording.UnixMilli
		}
		got, _ := read(t, strings.NewReader(write(t, blocks, o)), recording.Options{})
		if len(got) != len(blocks) {
			t.Fatalf("%d blocks, want %d", len(got), len(blocks))
		}
		for i, want := range blocks {
			if last := i == len(blocks)-1; !last && got[i].CompleteUntil != want.CompleteUntil {
				t.Fatalf("block %d promises until %d, want %d", i, got[i].CompleteUntil, want.CompleteUntil)
			}
			compare(t, got[i], want)
		}
	})
}

// compare holds two blocks' readings equal to the bit. The digits of values off
// any grid are those that happen to be needed to print them.
func compare(t *rapid.T, got, want *reading.Block) {
	t.Helper()
	if len(got.Series) != len(want.Series) {
		t.Fatalf("%d series, want %d", len(got.Series), len(want.Series))
	}
	for i := range want.Series {
		g, w := &got.Series[i], &want.Series[i]
		if g.Channel != w.Channel || g.Len() != w.Len() {
			t.Fatalf("%v with %d, want %v with %d", g.Channel, g.Len(), w.Channel, w.Len())
		}
		good := false
		for j := range w.Time {
			v := w.Value[j]
			if v == 0 {
				v = 0 // a zero has no sign in a recording
			}
			if g.Time[j] != w.Time[j] || math.Float64bits(g.Value[j]) != math.Float64bits(v) || g.QualityAt(j) != w.QualityAt(j) {
				t.Fatalf("%v: %d %v, want %d %v", w.Channel, g.Time[j], g.Value[j], w.Time[j], v)
			}
			good = good || w.Quality[j] == reading.Good
		}
		if good && w.Decimals >= 0 && g.Decimals != w.Decimals {
			t.Fatalf("%v: %d decimals, want %d", w.Channel, g.Decimals, w.Decimals)
		}
	}
}
