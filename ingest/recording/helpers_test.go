package recording_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"pgregory.net/rapid"

	"hawser/detect/reading"
	"hawser/ingest/recording"
)

// clone keeps a block beyond the next call of Next.
func clone(b *reading.Block) *reading.Block {
	c := *b
	c.Series = slices.Clone(b.Series)
	for i := range c.Series {
		s := &c.Series[i]
		s.Time, s.Value, s.Quality = slices.Clone(s.Time), slices.Clone(s.Value), slices.Clone(s.Quality)
	}
	return &c
}

// readAll gives all blocks and the error that ended them, nil for the end of
// the file. It checks what holds of every reading of every file.
func readAll(t rapid.TB, r *recording.Reader) ([]*reading.Block, error) {
	t.Helper()
	var blocks []*reading.Block
	var promised int64
	for b, err := range r.Blocks() {
		if err != nil {
			if _, again := r.Next(); again != err {
				t.Fatalf("%v after %v", again, err)
			}
			return blocks, err
		}
		blocks = append(blocks, clone(b))
		if int(b.Sequence) != len(blocks) {
			t.Fatalf("block %d has sequence %d", len(blocks), b.Sequence)
		}
		if b.CompleteUntil < promised {
			t.Fatalf("block %d: promise falls from %d to %d", b.Sequence, promised, b.CompleteUntil)
		}
		checkSeries(t, b, promised)
		promised = b.CompleteUntil
	}
	if _, err := r.Next(); err != io.EOF {
		t.Fatalf("%v after the end", err)
	}
	return blocks, nil
}

func checkSeries(t rapid.TB, b *reading.Block, promised int64) {
	t.Helper()
	if b.Samples() > 32768 || len(b.Series) > 512 {
		t.Fatalf("block %d has %d readings in %d series", b.Sequence, b.Samples(), len(b.Series))
	}
	for i := range b.Series {
		s := &b.Series[i]
		if i > 0 && b.Series[i-1].Channel.String() >= s.Channel.String() {
			t.Fatalf("block %d: %v after %v", b.Sequence, s.Channel, b.Series[i-1].Channel)
		}
		if s.Len() == 0 || s.Len() > 20000 || len(s.Value) != s.Len() || s.Quality != nil && len(s.Quality) != s.Len() {
			t.Fatalf("block %d: %v has %d, %d, %d elements", b.Sequence, s.Channel, s.Len(), len(s.Value), len(s.Quality))
		}
		for j, at := range s.Time {
			if j > 0 && s.Time[j-1] > at {
				t.Fatalf("block %d: %v: %d after %d", b.Sequence, s.Channel, at, s.Time[j-1])
			}
			if s.QualityAt(j) == reading.Good && at <= promised {
				t.Fatalf("block %d: %v: good reading at %d, promised until %d", b.Sequence, s.Channel, at, promised)
			}
			if v := s.Value[j]; v-v != 0 {
				t.Fatalf("block %d: %v: value %v", b.Sequence, s.Channel, v)
			}
		}
	}
}

// read is readAll of a text, which must be a recording to the end.
func read(t rapid.TB, in io.Reader, o recording.Options) ([]*reading.Block, recording.Stats) {
	t.Helper()
	r, err := recording.NewReader("test.csv", in, o)
	must(t, err)
	blocks, err := readAll(t, r)
	must(t, err)
	return blocks, r.Stats()
}

// text shows blocks one a line: the promise in seconds, then each series with
// its decimals, its times in seconds and its values; B is bad, L late.
//
//	until 0.999999999: 7/tension.1 0.1=88.5 0.2=0B; wind/speed.0 0.1=5
func text(blocks []*reading.Block) string {
	seconds := func(ns int64) string {
		return strings.TrimRight(strings.TrimRight(fmt.Sprintf("%d.%09d", ns/1e9, ns%1e9), "0"), ".")
	}
	var out bytes.Buffer
	for _, b := range blocks {
		fmt.Fprintf(&out, "until %s:", seconds(b.CompleteUntil))
		for i, s := range b.Series {
			if i > 0 {
				out.WriteByte(';')
			}
			fmt.Fprintf(&out, " %v.%d", s.Channel, s.Decimals)
			for j := range s.Time {
				fmt.Fprintf(&out, " %s=%v%s", seconds(s.Time[j]), s.Value[j], [...]string{"", "B", "L"}[s.QualityAt(j)])
			}
		}
		out.WriteByte('\n')
	}
	return out.String()
}

// ended is the error of the whole recording, nil at its end.
func ended(t rapid.TB, name string, in io.Reader) ([]*reading.Block, *recording.Error) {
	t.Helper()
	r, err := recording.NewReader(name, in, recording.Options{})
	var blocks []*reading.Block
	if err == nil {
		blocks, err = readAll(t, r)
	}
	var located *recording.Error
	if err != nil && (!errors.As(err, &located) || located.Line < 1 || located.Name != name) {
		t.Fatalf("error without a place: %v", err)
	}
	return blocks, located
}

func must(t rapid.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
