package tsdb_test

import (
	"errors"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"hawser/ingest/store/tsdb"
)

// After a sync the logs are on disk, and so are the names of all folders that they
// are in. A sync that failed is made again, names and all.
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

	for _, fails = range []string{filepath.Join(dir, "wal", "00000000"), filepath.Join(dir, "wal"), dir, data} {
		if err := s.Sync(); !errors.Is(err, syscall.EIO) {
			t.Errorf("sync of %s failed, error %v", fails, err)
		}
	}
	clear(synced)
	fails = ""
	must(t, s.Sync())
	for _, name := range []string{data, dir, filepath.Join(dir, "wal"), filepath.Join(dir, "wal", "00000000"), filepath.Join(dir, "wbl")} {
		if !synced[name] {
			t.Errorf("%s is not on disk", name)
		}
	}
}
