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
	must(t, err)
	promised := int64(0)
	for {
		b, err := r.Next()
		if err == io.EOF {
			break
		}
		must(t, err)
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

func TestBounds(t *testing.T) {
	for _, c := range []struct {
		name           string
		rows           int
		row            func(dst []byte, i int) []byte
		blocks, told   int // blocks that go out, readings in them
		late, channels int
		keeps          int64 // MiB of memory at most, 0 for no matter
	}{
		// 32 blocks of the 2^20 rows that are held, and two of the rest.
		{"more rows than are held, all in one moment", 1<<20 + 50_000, func(dst []byte, i int) []byte {
			return append(append(append(dst, "1000,"...), '1'+byte(i%9)), "/tension,1.5\n"...)
		}, 34, 1<<20 + 50_000, 0, 9, 100},
		// 12 blocks of 8,192 late rows, and the last.
		{"more late rows than are held, behind two an hour ahead", 100_000, func(dst []byte, i int) []byte {
			if i < 2 {
				return append(dst, "3600000,1/tension,1.5\n"...)
			}
			return fmt.Appendf(dst, "%d,1/tension,1.5\n", 1000+i)
		}, 13, 100_000, 99_998, 1, 10},
		{"a window with more channels than fit a batch", 1200, eachItsLine, 3, 1200, 0, 1200, 0},
		{"a window with more rows of one channel than fit a batch", 45_000, func(dst []byte, _ int) []byte {
			return append(dst, "1000,1/tension,1\n"...)
		}, 3, 45_000, 0, 1, 0},
		{"more channels than are kept", 5000, eachItsLine, 8, 4096, 0, 4096, 0},
		{"time that leaps at every row", 100_000, func(dst []byte, i int) []byte {
			return fmt.Appendf(dst, "%d,1/tension,1\n", 1+int64(i)*90_000_000)
		}, 100_000, 100_000, 0, 1, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			blocks, readings, s, grown := drain(t, &generated{n: c.rows, row: c.row})
			if blocks != c.blocks || readings != c.told || int(s.Late) != c.late || s.Ahead != 0 || s.Channels != c.channels {
				t.Errorf("%d readings in %d blocks, %+v", readings, blocks, s)
			}
			if unknown := c.rows - c.told; int(s.Unknown) != unknown || len(s.UnknownNames) != min(unknown, 64) {
				t.Errorf("%d unknown, %d names", s.Unknown, len(s.UnknownNames))
			}
			if c.keeps > 0 && grown > c.keeps<<20 {
				t.Errorf("keeps %d MiB", grown>>20)
			}
		})
	}
}

// eachItsLine has a row of a line of its own, all in one moment.
func eachItsLine(dst []byte, i int) []byte { return fmt.Appendf(dst, "1000,%d/tension,1\n", i) }

// Reading allocates for the file, its channels and its windows, not for rows:
// a file ten times as long costs no more.
func TestNoAllocationsPerRow(t *testing.T) {
	allocations := func(seconds int) float64 {
		data, rows := berthRecording(t, seconds, recording.WriterOptions{})
		return testing.AllocsPerRun(5, func() {
			r, err := recording.NewReader("a.csv", bytes.NewReader(data), recording.Options{})
			must(t, err)
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
