package recording_test

import (
	"bytes"
	"fmt"
	"io"
	"runtime"
	"testing"

	"hawser/ingest/recording"
)

// generated is a recording of n rows made as it is read.
type generated struct {
	n, next int
	row     func(dst []byte, i int) []byte
	rest    []byte
	buf     []byte
}

func (g *generated) Read(p []byte) (int, error) {
	if len(g.rest) == 0 {
		if g.next > g.n {
			return 0, io.EOF
		}
		g.buf = g.buf[:0]
		for len(g.buf) < 32<<10 && g.next <= g.n {
			if g.next == 0 {
				g.buf = append(g.buf, top...)
			} else {
				g.buf = g.row(g.buf, g.next-1)
			}
			g.next++
		}
		g.rest = g.buf
	}
	n := copy(p, g.rest)
	g.rest = g.rest[n:]
	return n, nil
}

// drain reads to the end and gives the number of blocks, readings and the
// growth of live memory at its end.
func drain(t *testing.T, in *generated) (blocks, readings int, s recording.Stats, grown int64) {
	t.Helper()
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	r, err := recording.NewReader("big.csv", in, recording.Options{})
	if err != nil {
		t.Fatal(err)
	}
	promised := int64(0)
	for {
		b, err := r.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if b.CompleteUntil < promised {
			t.Fatalf("promise falls to %d", b.CompleteUntil)
		}
		checkSeries(t, b, promised)
		promised = b.CompleteUntil
		if made := in.next - readings; made > 1<<20+1<<15 {
			t.Fatalf("%d rows are held", made)
		}
		blocks++
		readings += b.Samples()
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	s = r.Stats()
	return blocks, readings, s, int64(after.HeapAlloc) - int64(before.HeapAlloc)
}

// Files that no window can hold: more rows than may be held, all in one moment.
func TestMoreRowsThanAreHeld(t *testing.T) {
	const n = 1<<20 + 50_000
	in := &generated{n: n, row: func(dst []byte, i int) []byte {
		return append(append(append(dst, "1000,"...), '1'+byte(i%9)), "/tension,1.5\n"...)
	}}
	blocks, readings, s, grown := drain(t, in)
	if readings != n || s.Late != 0 || blocks < n/32768 {
		t.Fatalf("%d readings in %d blocks, %+v", readings, blocks, s)
	}
	if grown > 100<<20 {
		t.Fatalf("keeps %d MiB", grown>>20)
	}
}

// One row an hour ahead, borne out by a second, makes all else late.
func TestMoreLateRowsThanAreHeld(t *testing.T) {
	const n = 100_000
	in := &generated{n: n, row: func(dst []byte, i int) []byte {
		if i < 2 {
			return fmt.Appendf(dst, "3600000,1/tension,1.5\n")
		}
		return fmt.Appendf(dst, "%d,1/tension,1.5\n", 1000+i)
	}}
	blocks, readings, s, grown := drain(t, in)
	// 12 blocks of 8,192 late rows, and the last.
	if readings != n || s.Late != n-2 || blocks != 13 {
		t.Fatalf("%d readings in %d blocks, %+v", readings, blocks, s)
	}
	if grown > 10<<20 {
		t.Fatalf("keeps %d MiB", grown>>20)
	}
}

// A window with more channels, or more rows of one, than fit a batch goes out in
// several blocks.
func TestLargeWindows(t *testing.T) {
	in := &generated{n: 1200, row: func(dst []byte, i int) []byte { return fmt.Appendf(dst, "1000,%d/tension,1\n", i) }}
	if blocks, readings, s, _ := drain(t, in); blocks != 3 || readings != 1200 || s.Channels != 1200 {
		t.Fatalf("%d readings in %d blocks, %+v", readings, blocks, s)
	}
	in = &generated{n: 45_000, row: func(dst []byte, i int) []byte { return fmt.Appendf(dst, "1000,1/tension,1\n") }}
	if blocks, readings, _, _ := drain(t, in); blocks != 3 || readings != 45_000 {
		t.Fatalf("%d readings in %d blocks", readings, blocks)
	}
}

func TestMoreChannelsThanAreKept(t *testing.T) {
	in := &generated{n: 5000, row: func(dst []byte, i int) []byte { return fmt.Appendf(dst, "1000,%d/tension,1\n", i) }}
	_, readings, s, _ := drain(t, in)
	if readings != 4096 || s.Channels != 4096 || s.Unknown != 904 || len(s.UnknownNames) != 64 {
		t.Fatalf("%d readings, %d channels, %d unknown, %d names", readings, s.Channels, s.Unknown, len(s.UnknownNames))
	}
}

// Time that leaps at every row is no more work than any other.
func TestLeaps(t *testing.T) {
	in := &generated{n: 100_000, row: func(dst []byte, i int) []byte { return fmt.Appendf(dst, "%d,1/tension,1\n", 1+int64(i)*90_000_000) }}
	if blocks, readings, s, _ := drain(t, in); blocks != 100_000 || readings != 100_000 || s.Ahead != 0 {
		t.Fatalf("%d readings in %d blocks, %+v", readings, blocks, s)
	}
}

// Reading allocates for the file, its channels and its windows, not for rows:
// a file ten times as long costs no more.
func TestNoAllocationsPerRow(t *testing.T) {
	allocations := func(seconds int) float64 {
		data, rows := berthRecording(t, seconds, recording.WriterOptions{})
		return testing.AllocsPerRun(5, func() {
			r, err := recording.NewReader("a.csv", bytes.NewReader(data), recording.Options{})
			if err != nil {
				t.Fatal(err)
			}
			got := 0
			for b, err := r.Next(); err == nil; b, err = r.Next() {
				got += b.Samples()
			}
			if got != rows {
				t.Fatalf("%d rows, want %d", got, rows)
			}
		})
	}
	short, long := allocations(20), allocations(200)
	if long > short {
		t.Fatalf("%v allocations for 20 s, %v for 200 s", short, long)
	}
}
