package tsdb_test

import (
	"bytes"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/prometheus/tsdb/wlog"
	"github.com/prometheus/prometheus/util/compression"

	"hawser/ingest/store/tsdb"
	"hawser/services/waittest"
)

// The store under damage has 100 readings in a block, 1, 2, … 100; 100 in its log,
// 1001 … 1100, in as many commits; and 5 late ones, 2001 … 2005, in the log of
// those.
func fill(t *testing.T, dir string) {
	t.Helper()
	s := open(t, tsdb.Options{Dir: dir})
	refill(t, s, 1, 100, 0)
	must(t, s.Flush(t.Context()))
	must(t, s.Close())
	s = open(t, tsdb.Options{Dir: dir})
	refill(t, s, 1001, 1100, 10_000_000)
	refill(t, s, 2001, 2005, 10_050_500)
	must(t, s.MapChunks())
	s.Refill().Begun()
	must(t, s.Close())
}

// refill appends values from to to, a second apart from ms on.
func refill(t *testing.T, s *tsdb.Store, from, to int, ms float64) {
	t.Helper()
	for v := from; v <= to; v++ {
		must(t, s.Append(t.Context(), "jetty-1", reads(tension7, 1, ms+float64(v-from)*1000, float64(v))))
	}
}

// segment is the newest file with anything in it of a folder of the store, and how
// much of it is used.
func segment(t *testing.T, dir, name string) (path string, data []byte) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, name, "0*"))
	must(t, err)
	slices.Sort(files)
	for _, f := range slices.Backward(files) {
		data, err := os.ReadFile(f)
		must(t, err)
		if used := bytes.TrimRight(data, "\x00"); len(used) > 0 {
			return f, used
		}
	}
	t.Fatalf("nothing in %s", name)
	return "", nil
}

// write puts a file back, or makes one.
func write(t *testing.T, path string, data []byte) {
	t.Helper()
	must(t, os.MkdirAll(filepath.Dir(path), 0o750))
	must(t, os.WriteFile(path, data, 0o600))
}

// block is the folder of the one block.
func block(t *testing.T, dir string) string {
	t.Helper()
	dirs, err := filepath.Glob(filepath.Join(dir, "01*"))
	if err != nil || len(dirs) != 1 {
		t.Fatalf("blocks %v, %v", dirs, err)
	}
	return dirs[0]
}

func flip(b []byte, at int) []byte {
	out := bytes.Clone(b)
	out[at] ^= 0x55
	return out
}

func flippedHalfWay(b []byte) []byte { return flip(b, len(b)/2) }
func torn(b []byte) []byte           { return b[:len(b)-3] }

var rubbish = bytes.Repeat([]byte{0xab}, 5000)

// inLog spoils the newest segment of a log.
func inLog(name string, spoilt func(used []byte) []byte) func(*testing.T, string) {
	return func(t *testing.T, dir string) {
		path, used := segment(t, dir, name)
		write(t, path, spoilt(used))
	}
}

// killedWithinRecord leaves a log as a writer does that is killed when it has written one
// page of a record of two.
func killedWithinRecord(t *testing.T, dir string) {
	log, err := wlog.New(slog.New(slog.DiscardHandler), nil, filepath.Join(dir, "wal"), compression.None)
	must(t, err)
	must(t, log.Log(make([]byte, 40<<10)))
	_, newest, err := wlog.Segments(log.Dir())
	must(t, err)
	must(t, log.Close())
	must(t, os.Truncate(wlog.SegmentName(log.Dir(), newest), 32<<10))
}

// inBlock spoils a file of the one block.
func inBlock(name string, spoilt func([]byte) []byte) func(*testing.T, string) {
	return func(t *testing.T, dir string) {
		path := filepath.Join(block(t, dir), name)
		data, err := os.ReadFile(path)
		must(t, err)
		write(t, path, spoilt(data))
	}
}

func TestDamage(t *testing.T) {
	for _, c := range []struct {
		name   string
		damage func(t *testing.T, dir string)
		// What must still be there: readings of the block, of the log from its start on
		// (at least and at most), late ones.
		inBlock, logMin, logMax, late int
		parts                         []string // of Recovery, a block without its name
		queried                       bool     // found by reading, not at the start
	}{
		{"none", func(*testing.T, string) {}, 100, 100, 100, 5, nil, false},
		// The last records are of the late ones, which have a log of their own as well.
		{"log torn in its last record", inLog("wal", torn), 100, 100, 100, 5, []string{"log"}, false},
		{"log whose writer was killed between two pages of a record", killedWithinRecord, 100, 100, 100, 5, nil, false},
		{"log torn earlier", inLog("wal", func(b []byte) []byte { return b[:len(b)*9/10] }), 100, 80, 99, 5, []string{"log"}, false},
		{"log with rubbish at its end", inLog("wal", func(b []byte) []byte { return append(b, rubbish[:500]...) }), 100, 100, 100, 5, []string{"log"}, false},
		{"log flipped half way", inLog("wal", flippedHalfWay), 100, 30, 70, 5, []string{"log"}, false},
		{"log flipped in its first record", inLog("wal", func(b []byte) []byte { return flip(b, 12) }), 100, 0, 0, 0, []string{"log"}, false},
		{"log of late ones flipped half way", inLog("wbl", flippedHalfWay), 100, 100, 100, 2, []string{"log of late readings"}, false},
		{"both logs", func(t *testing.T, dir string) {
			inLog("wal", torn)(t, dir)
			inLog("wbl", torn)(t, dir)
		}, 100, 100, 100, 4, []string{"log", "log of late readings"}, false},
		{"checkpoint of the log is rubbish", func(t *testing.T, dir string) {
			// Newer than all: the log before it counts for nothing.
			write(t, filepath.Join(dir, "wal", "checkpoint.00000099", "00000000"), rubbish)
		}, 100, 0, 0, 0, []string{"log", "log of late readings", "chunks of the log"}, false},
		{"full chunks of the log", func(t *testing.T, dir string) {
			write(t, filepath.Join(dir, "chunks_head", "000001"), rubbish)
		}, 100, 100, 100, 5, []string{"chunks of the log"}, false},
		{"block without an index", func(t *testing.T, dir string) {
			must(t, os.Remove(filepath.Join(block(t, dir), "index")))
		}, 0, 100, 100, 5, []string{"block"}, false},
		{"block with half an index", inBlock("index", func(b []byte) []byte { return b[:len(b)/2] }), 0, 100, 100, 5, []string{"block"}, false},
		{"block with rubbish for a description", func(t *testing.T, dir string) {
			write(t, filepath.Join(block(t, dir), "meta.json"), []byte("{"))
		}, 0, 100, 100, 5, []string{"block"}, false},
		{"block without readings", func(t *testing.T, dir string) {
			must(t, os.RemoveAll(filepath.Join(block(t, dir), "chunks")))
		}, 0, 100, 100, 5, []string{"block"}, false},
		{"block with a reading flipped", inBlock("chunks/000001", flippedHalfWay), 0, 100, 100, 5, nil, true},
		{"block with a series flipped in its index", inBlock("index", func(b []byte) []byte {
			// Series follow the symbols, aligned to 16 bytes; the last symbol is a label's
			// value (format of the index, version 2).
			at := bytes.LastIndex(b[:len(b)/2], []byte("tension"))
			return flip(b, (at+32)/16*16+3)
		}), 0, 100, 100, 5, nil, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			fill(t, dir)
			c.damage(t, dir)

			metrics := prometheus.NewRegistry()
			s := open(t, tsdb.Options{Dir: dir, Registerer: metrics})
			wantParts(t, s, c.parts)
			inBlock, inLog, late := count(t, values(t, s, tension7))
			if inBlock != c.inBlock || inLog < c.logMin || inLog > c.logMax || late != c.late {
				t.Errorf("%d of the block, %d of the log, %d late, want %d, %d to %d, %d",
					inBlock, inLog, late, c.inBlock, c.logMin, c.logMax, c.late)
			}
			damaged := waittest.Metric(t, metrics, "hawser_store_damaged_parts_total")
			if c.queried != (damaged > 0 && len(c.parts) == 0) || damaged < float64(len(c.parts)) {
				t.Errorf("%v damaged parts counted", damaged)
			}
			if c.queried {
				return // what is damaged inside a block stays in place
			}
			// The journal fills the hole; nothing is there twice.
			refill(t, s, 1, 100, 0)
			refill(t, s, 1001, 1100, 10_000_000)
			refill(t, s, 2001, 2005, 10_050_500)
			whole := func(when string) {
				t.Helper()
				if a, b, l := count(t, values(t, s, tension7)); a != 100 || b != 100 || l != 5 {
					t.Errorf("%s: %d, %d, %d", when, a, b, l)
				}
			}
			whole("filled again")
			s.Refill().Begun()
			must(t, s.Close())
			s = open(t, tsdb.Options{Dir: dir})
			wantParts(t, s, nil)
			whole("opened again")
		})
	}
}

// count tells the readings of the block, the log and the late ones, and fails on
// any that is there twice or after a hole.
func count(t *testing.T, values []float64) (inBlock, inLog, late int) {
	t.Helper()
	sorted := slices.Sorted(slices.Values(values))
	if len(slices.Compact(slices.Clone(sorted))) != len(sorted) {
		t.Errorf("a reading is there twice: %v", sorted)
	}
	next := map[float64]float64{0: 1, 1000: 1001, 2000: 2001}
	for _, v := range sorted {
		group := float64(int(v-1) / 1000 * 1000)
		if v != next[group] {
			t.Errorf("%v after %v", v, next[group]-1)
		}
		next[group] = v + 1
	}
	return int(next[0]) - 1, int(next[1000]) - 1001, int(next[2000]) - 2001
}

func wantParts(t *testing.T, s *tsdb.Store, want []string) {
	t.Helper()
	r := s.Recovery()
	var got []string
	for _, d := range r.Damage {
		part, _, isBlock := strings.Cut(d.Part, "block ")
		if isBlock {
			part = "block"
		}
		got = append(got, part)
		if d.Err == nil {
			t.Errorf("%s: no error", d.Part)
		}
		if d.Aside != "" {
			if _, err := os.Stat(d.Aside); err != nil {
				t.Errorf("%s: %v", d.Part, err)
			}
		}
	}
	if !slices.Equal(got, want) || s.Refill().Wanted() != (len(want) > 0) {
		t.Errorf("recovery %+v, want parts %v", r, want)
	}
}

// A store that is new or was damaged is to be filled from the journal until that has
// begun, whatever starts fail before.
func TestRefill(t *testing.T) {
	dir := t.TempDir()
	start := func(wanted, begins bool) {
		t.Helper()
		s := open(t, tsdb.Options{Dir: dir})
		if s.Refill().Wanted() != wanted {
			t.Errorf("to be filled: %t, want %t", !wanted, wanted)
		}
		if begins {
			s.Refill().Begun()
		}
		must(t, s.Close())
	}
	starts := func() {
		start(true, false)
		start(true, false)
		start(true, true)
		start(false, false)
	}
	starts()
	fill(t, dir)
	inLog("wal", flippedHalfWay)(t, dir)
	starts()
}
