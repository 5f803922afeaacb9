package journal

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"hawser/ingest/folder"
)

// The server keeps a stream in block files <n>.blk of a few MiB, appends to the
// newest only and removes from the oldest end. We sync them by our own
// descriptors: fsync is of the file, not of who wrote it.

// tail syncs an append-only stream: the newest block, and those begun since.
type tail struct {
	dir      string
	syncFile func(*os.File) error
	block    int // index of file
	file     *os.File
}

// openTail begins at the given block, or at the oldest there is after it.
func openTail(dir string, from int, syncFile func(*os.File) error) (*tail, error) {
	t := &tail{dir: dir, syncFile: syncFile, block: from - 1}
	next, index, err := t.next()
	if err != nil {
		return nil, err
	}
	t.file, t.block = next, index
	return t, nil
}

// flush puts all that was written before the call on disk.
func (t *tail) flush() error {
	for {
		// The next block is looked for before the sync of this one: once it is
		// there, nothing more is written to this one.
		next, index, err := t.next()
		if err != nil {
			return err
		}
		if t.file != nil {
			if err := t.syncFile(t.file); err != nil {
				return err
			}
		}
		if next == nil {
			return nil
		}
		if err := syncDir(t.dir, t.syncFile); err != nil {
			return err
		}
		t.close()
		t.file, t.block = next, index
	}
}

// next opens the block after the present one, nil if there is none.
func (t *tail) next() (*os.File, int, error) {
	f, err := os.OpenFile(filepath.Join(t.dir, strconv.Itoa(t.block+1)+".blk"), os.O_RDWR, 0)
	if err == nil {
		return f, t.block + 1, nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return nil, 0, err
	}
	if t.file != nil {
		if gone, err := unlinked(t.file); err != nil || !gone {
			return nil, 0, err
		}
	}
	// Ours was removed by the limits, perhaps with some after it.
	blocks, err := listBlocks(t.dir)
	if err != nil {
		return nil, 0, err
	}
	for _, b := range blocks {
		if b <= t.block {
			continue
		}
		f, err := os.OpenFile(filepath.Join(t.dir, strconv.Itoa(b)+".blk"), os.O_RDWR, 0)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		return f, b, err
	}
	return nil, 0, nil
}

func (t *tail) close() {
	if t.file != nil {
		t.file.Close() // only ever synced through
		t.file = nil
	}
}

// whole syncs a small stream whose old blocks are rewritten too: every block
// that changed since the last time.
type whole struct {
	dir      string
	syncFile func(*os.File) error
	seen     map[int]os.FileInfo
}

// unchanged says whether a block is the file it was before, and as it was.
func unchanged(before, now os.FileInfo) bool {
	return os.SameFile(before, now) && before.Size() == now.Size() && before.ModTime().Equal(now.ModTime())
}

func (w *whole) flush() error {
	blocks, err := listBlocks(w.dir)
	if err != nil {
		return err
	}
	seen, names := make(map[int]os.FileInfo, len(blocks)), len(blocks) != len(w.seen)
	for _, b := range blocks {
		now, err := w.sync(b)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return err
		}
		seen[b] = now
		names = names || !os.SameFile(w.seen[b], now)
	}
	w.seen = seen
	if names {
		return syncDir(w.dir, w.syncFile)
	}
	return nil
}

// sync syncs one block unless it is as it was.
func (w *whole) sync(block int) (os.FileInfo, error) {
	f, err := os.OpenFile(filepath.Join(w.dir, strconv.Itoa(block)+".blk"), os.O_RDWR, 0)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	now, err := f.Stat()
	if err != nil || unchanged(w.seen[block], now) {
		return now, err
	}
	return now, w.syncFile(f)
}

// forgetUnwritten removes the server's index of a stream whose newest block is empty, as
// a write that failed leaves it: the index counts the message that is not there, and the
// message's position would stay empty. The server makes the index anew from the blocks.
// Where the limits may have removed the blocks before, and the index alone knows where
// the stream ends, it stays.
func forgetUnwritten(dir string, limited bool) error {
	blocks, err := listBlocks(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil || len(blocks) == 0 || limited && len(blocks) == 1:
		return err
	}
	newest, err := os.Stat(filepath.Join(dir, strconv.Itoa(blocks[len(blocks)-1])+".blk"))
	if err != nil || newest.Size() > 0 {
		return err
	}
	if err := os.Remove(filepath.Join(dir, "index.db")); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// listBlocks lists the block files' indices, rising.
func listBlocks(dir string) ([]int, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	var blocks []int
	for _, e := range entries {
		name, ok := strings.CutSuffix(e.Name(), ".blk")
		if n, err := strconv.Atoi(name); ok && err == nil {
			blocks = append(blocks, n)
		}
	}
	slices.Sort(blocks)
	return blocks, nil
}

// unlinked says whether a file's name is gone, or is another file's by now.
func unlinked(f *os.File) (bool, error) {
	ours, err := f.Stat()
	if err != nil {
		return false, err
	}
	named, err := os.Stat(f.Name())
	if errors.Is(err, fs.ErrNotExist) {
		return true, nil
	}
	if err != nil {
		return false, err
	}
	return !os.SameFile(ours, named), nil
}

// syncDir puts the names in a folder on disk.
func syncDir(dir string, syncFile func(*os.File) error) error {
	d, err := folder.OpenDir(dir)
	if err != nil {
		return err
	}
	defer d.Close() // only ever synced through
	if err := syncFile(d); err != nil {
		return fmt.Errorf("sync of folder: %w", err)
	}
	return nil
}

// syncDirs puts the names in a folder on disk, and in those above it up to the one
// that top is in: what is in a folder whose name is lost is lost with it.
func syncDirs(dir, top string, syncFile func(*os.File) error) error {
	for last := filepath.Dir(filepath.Clean(top)); ; dir = filepath.Dir(dir) {
		if err := syncDir(dir, syncFile); err != nil || dir == last {
			return err
		}
	}
}
