package journal_test

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"hawser/ingest/journal"
)

// The damaged journal: 200 entries of one source with 50,000 bytes of data. A
// record is 22 bytes of head, 27 of subject, 4 and some 50 of header, the data
// and 8 of checksum, 50,110 or so (form as in the server's filestore.go); with
// MaxBytes of 16 MiB a block is 4 MiB and holds 83: blocks 1 and 2 end with
// sequences 83 and 166, block 3 has the last 34.
const (
	damagedEntries = 200
	recordLength   = 50_110 // about; damage is done in the middle of a record
)

var damagedOptions = journal.Options{MaxBytes: 16 << 20}

type span struct{ from, to uint64 }

func TestDamageIsToldAndSurvived(t *testing.T) {
	closedDir, killedDir, stream := damagedJournals(t)
	nothing := span{1, 0}
	for _, row := range []struct {
		name  string
		spoil func(t *testing.T, stream string)
		// What is lost of a journal that was closed, and of one that was killed.
		closed, killed span
		untold         bool
	}{
		{"nothing", func(*testing.T, string) {}, nothing, nothing, false},
		{"tail cut off", func(t *testing.T, s string) { cut(t, s+"/msgs/3.blk", -1000) }, span{200, 200}, span{200, 200}, false},
		{"tail block emptied", func(t *testing.T, s string) { cut(t, s+"/msgs/3.blk", 0) }, span{167, 200}, span{167, 200}, false},
		{"tail block gone", func(t *testing.T, s string) { remove(t, s+"/msgs/3.blk") }, span{167, 200}, span{167, 200}, false},
		{"zeros after the tail", func(t *testing.T, s string) { extend(t, s+"/msgs/3.blk", make([]byte, 5000)) }, nothing, nothing, false},
		{"garbage after the tail", func(t *testing.T, s string) {
			extend(t, s+"/msgs/3.blk", bytes.Repeat([]byte{0xa5, 1, 0xff}, 3000))
		}, nothing, nothing, false},
		{"bit in the last entry", func(t *testing.T, s string) { flip(t, s+"/msgs/3.blk", -recordLength/2) }, span{200, 200}, span{200, 200}, false},
		{"bit in the last checksum", func(t *testing.T, s string) { flip(t, s+"/msgs/3.blk", -2) }, span{200, 200}, span{200, 200}, false},
		{"bit in the tail block", func(t *testing.T, s string) { flip(t, s+"/msgs/3.blk", 20*recordLength+recordLength/2) }, span{187, 187}, span{187, 200}, false},
		{"bit in an old block", func(t *testing.T, s string) { flip(t, s+"/msgs/2.blk", 10*recordLength+recordLength/2) }, span{94, 94}, span{94, 166}, false},
		{"old block gone", func(t *testing.T, s string) { remove(t, s+"/msgs/2.blk") }, span{84, 166}, span{84, 166}, false},
		{"oldest block gone", func(t *testing.T, s string) { remove(t, s+"/msgs/1.blk") }, span{1, 83}, span{1, 83}, true},
		{"index gone", func(t *testing.T, s string) { remove(t, s+"/msgs/index.db") }, nothing, nothing, false},
		{"index garbage", func(t *testing.T, s string) { overwrite(t, s+"/msgs/index.db") }, nothing, nothing, false},
		{"description gone", func(t *testing.T, s string) { remove(t, s+"/meta.inf") }, nothing, nothing, false},
		{"description garbage", func(t *testing.T, s string) { overwrite(t, s+"/meta.inf") }, nothing, nothing, false},
		{"mark gone", func(t *testing.T, s string) { remove(t, s+"/../../../../journal.mark") }, nothing, nothing, false},
		{"mark garbage", func(t *testing.T, s string) { overwrite(t, s+"/../../../../journal.mark") }, nothing, nothing, false},
	} {
		t.Run(row.name, func(t *testing.T) {
			damage := func(from string, lost span) func(t *testing.T) {
				return func(t *testing.T) {
					dir := t.TempDir()
					must(t, os.CopyFS(dir, os.DirFS(from)))
					row.spoil(t, filepath.Join(dir, stream))
					checkDamaged(t, dir, lost, row.untold)
				}
			}
			t.Run("closed", damage(closedDir, row.closed))
			t.Run("killed", damage(killedDir, row.killed))
		})
	}
}

// damagedJournals makes a journal and returns a copy of it as closed, one as a
// kill would have left it, and where in both the telemetry stream is.
func damagedJournals(t *testing.T) (closed, killed, stream string) {
	t.Helper()
	o := damagedOptions
	o.Dir = t.TempDir()
	j, err := journal.Open(t.Context(), o)
	must(t, err)
	var last *journal.Pending
	e := entry("jetty-1", "gw", 0)
	for e.SourceSequence = 1; e.SourceSequence <= damagedEntries; e.SourceSequence++ {
		e.Data = bytes.Repeat([]byte{byte(e.SourceSequence)}, 50_000)
		last = mustAppend(t, j, e)
	}
	stored(t, last)
	stream, err = filepath.Rel(o.Dir, filepath.Dir(j.Blocks("hawser-telemetry")))
	must(t, err)
	killed = t.TempDir()
	must(t, os.CopyFS(killed, os.DirFS(o.Dir)))
	closeJournal(t, j)
	return o.Dir, killed, stream
}

// checkDamaged opens a damaged journal, appends to it and reads all of it.
func checkDamaged(t *testing.T, dir string, lost span, untold bool) {
	o := damagedOptions
	o.Dir = dir
	var losses []journal.Loss
	o.OnLoss = func(l journal.Loss) { losses = append(losses, l) }
	j, err := journal.Open(t.Context(), o)
	must(t, err)
	defer closeJournal(t, j)

	var want []uint64
	for seq := uint64(1); seq <= damagedEntries; seq++ {
		if seq < lost.from || seq > lost.to {
			want = append(want, seq)
		}
	}
	last, err := j.LastSequence(t.Context(), "jetty-1", "gw")
	if err != nil || last != want[len(want)-1] {
		t.Errorf("last sequence %d, %v, want %d", last, err, want[len(want)-1])
	}
	appendMany(t, j, "jetty-1", damagedEntries+1, damagedEntries+1)
	want = append(want, damagedEntries+1)

	var got []uint64
	err = j.Follow(t.Context(), journal.FollowOptions{}, func(e *journal.Entry) error {
		got = append(got, e.SourceSequence)
		if e.SourceSequence <= damagedEntries && !bytes.Equal(e.Data, bytes.Repeat([]byte{byte(e.SourceSequence)}, 50_000)) {
			t.Errorf("sequence %d came back changed", e.SourceSequence)
		}
		if e.SourceSequence == damagedEntries+1 {
			return errEnough
		}
		return nil
	})
	if !errors.Is(err, errEnough) || !slices.Equal(got, want) {
		t.Errorf("%v, read %v\nwant %v", err, got, want)
	}
	told := j.Recovery().Damaged() || len(losses) > 0
	if want := lost.to >= lost.from && !untold; told != want {
		t.Errorf("told of loss: %v, want %v: %+v, %+v", told, want, j.Recovery(), losses)
	}
}

func cut(t *testing.T, name string, size int64) {
	t.Helper()
	fi, err := os.Stat(name)
	must(t, err)
	if size < 0 {
		size += fi.Size()
	}
	must(t, os.Truncate(name, size))
}

func remove(t *testing.T, name string) {
	t.Helper()
	// The index is there only once the server has written it, which it does when
	// closed and every two minutes.
	if err := os.Remove(name); err != nil && filepath.Base(name) != "index.db" {
		t.Fatal(err)
	}
}

func overwrite(t *testing.T, name string) {
	t.Helper()
	must(t, os.WriteFile(name, bytes.Repeat([]byte{0xa5, 1, 0xff}, 60), 0o644))
}

func extend(t *testing.T, name string, b []byte) {
	t.Helper()
	f, err := os.OpenFile(name, os.O_APPEND|os.O_WRONLY, 0)
	must(t, err)
	defer f.Close()
	if _, err := f.Write(b); err != nil {
		t.Fatal(err)
	}
}

func flip(t *testing.T, name string, at int64) {
	t.Helper()
	b, err := os.ReadFile(name)
	must(t, err)
	if at < 0 {
		at += int64(len(b))
	}
	b[at] ^= 0x10
	must(t, os.WriteFile(name, b, 0o644))
}
