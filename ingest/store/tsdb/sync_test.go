package tsdb_test

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"hawser/ingest/store/tsdb"
)

// After a sync the logs are on disk, and so are the names of all folders that they
// are in.
func TestSync(t *testing.T) {
	data := t.TempDir()
	dir := filepath.Join(data, "store")
	synced := map[string]bool{}
	fails := ""
	o := tsdb.Options{Dir: dir}
	o.ReplaceSync(func(f *os.File) error {
		if f.Name() == fails {
			return syscall.EIO
		}
		synced[f.Name()] = true
		return f.Sync()
	})
	s := open(t, o)
	must(t, s.Append(t.Context(), "jetty-1", reads(tension7, 1, 1000, 5)))

	for _, fails = range []string{dir, data} {
		if err := s.Sync(); !errors.Is(err, syscall.EIO) {
			t.Errorf("sync of %s failed, error %v", fails, err)
		}
	}
	fails = ""
	must(t, s.Sync())
	for _, name := range []string{data, dir, filepath.Join(dir, "wal"), filepath.Join(dir, "wal", "00000000"), filepath.Join(dir, "wbl")} {
		if !synced[name] {
			t.Errorf("%s is not on disk", name)
		}
	}
}

// Linux drops what it could not write and says so once: the sync after that finds
// nothing to do. What a power cut then leaves has all that was said to be on disk, or
// tells that the journal is to fill it.
func TestSyncAfterOneThatFailed(t *testing.T) {
	dir := t.TempDir()
	var lost []byte // of the log's first file
	fails := false
	o := tsdb.Options{Dir: dir}
	o.ReplaceSync(func(f *os.File) (err error) {
		if fails && filepath.Base(f.Name()) == "00000000" {
			fails = false
			lost, err = os.ReadFile(f.Name())
			return errors.Join(syscall.EIO, err)
		}
		return nil
	})
	s := open(t, o)
	s.Refill().Begun()
	// cut opens what is on disk.
	cut := func() *tsdb.Store {
		copied := t.TempDir()
		must(t, os.CopyFS(copied, os.DirFS(dir)))
		log := filepath.Join(copied, "wal", "00000000")
		data, err := os.ReadFile(log)
		if !errors.Is(err, fs.ErrNotExist) {
			must(t, err)
			clear(data[:len(lost)])
			write(t, log, data)
		}
		return open(t, tsdb.Options{Dir: copied})
	}
	add := func(from, to float64) {
		for v := from; v <= to; v++ {
			must(t, s.Append(t.Context(), "jetty-1", reads(tension7, 1, v*1000, v)))
		}
	}

	add(1, 20)
	fails = true
	if err := s.Sync(); !errors.Is(err, syscall.EIO) {
		t.Fatalf("error %v", err)
	}
	must(t, s.Sync())
	if got := values(t, cut(), tension7); len(got) != 20 {
		t.Errorf("%v, want the 20 that were synced", got)
	}
	add(21, 40)
	must(t, s.Sync())
	after := cut()
	if got := values(t, after, tension7); len(got) != 40 && !(len(got) == 20 && after.Refill().Wanted()) {
		t.Errorf("%v and %+v, want the 40 that were synced, or 20 and that some are not there", got, after.Recovery())
	}
	if got := values(t, s, tension7); len(got) != 40 {
		t.Errorf("%v, want 40", got)
	}
}
