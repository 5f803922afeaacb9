package journal

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
)

func put(t *testing.T, name string) {
	t.Helper()
	if err := os.WriteFile(name, []byte("entry"), 0o644); err != nil {
		t.Fatal(err)
	}
}

// synced returns a stand-in for a file's sync, and the names of the blocks it was asked for.
func synced() (func(*os.File) error, *[]string) {
	var names []string
	return func(f *os.File) error {
		if name := filepath.Base(f.Name()); filepath.Ext(name) == ".blk" {
			names = append(names, name)
		}
		return nil
	}, &names
}

// The limits remove the block that is being synced, and the one after it.
func TestTailGoesOnAfterBlocksThatAreGone(t *testing.T) {
	dir := t.TempDir()
	put(t, filepath.Join(dir, "1.blk"))
	sync, names := synced()
	tail, err := openTail(dir, 1, sync)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { tail.close() }()
	put(t, filepath.Join(dir, "3.blk"))
	if err := tail.flush(); err != nil || !slices.Equal(*names, []string{"1.blk"}) {
		t.Fatalf("while block 1 is there: synced %v, %v", *names, err)
	}
	if err := os.Remove(filepath.Join(dir, "1.blk")); err != nil {
		t.Fatal(err)
	}
	*names = nil
	if err := tail.flush(); err != nil || !slices.Contains(*names, "3.blk") || tail.block != 3 {
		t.Errorf("once it is gone: at block %d, synced %v, %v", tail.block, *names, err)
	}
}

// A block of the same name, size and time is another block when it is another file.
func TestWholeSyncsBlockThatWasReplaced(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "1.blk")
	put(t, name)
	sync, names := synced()
	w := &whole{dir: dir, syncFile: sync}
	for _, want := range []int{1, 1} {
		if err := w.flush(); err != nil || len(*names) != want {
			t.Fatalf("as it was: synced %v, %v", *names, err)
		}
	}
	was, err := os.Stat(name)
	if err != nil {
		t.Fatal(err)
	}
	put(t, name+".new")
	if err := os.Chtimes(name+".new", was.ModTime(), was.ModTime()); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(name+".new", name); err != nil {
		t.Fatal(err)
	}
	if err := w.flush(); err != nil || len(*names) != 2 {
		t.Errorf("replaced: synced %v, %v", *names, err)
	}
}
