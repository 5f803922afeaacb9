package folder_test

import (
	"os"
	"path/filepath"
	"testing"

	"hawser/ingest/folder"
)

// A folder is the same each time it is asked, and no other is it.
func TestIdentity(t *testing.T) {
	of := func(dir string) string {
		t.Helper()
		owner, process, err := folder.Identity(dir)
		if err != nil || owner == "" || process == "" {
			t.Fatalf("%q, %q, %v", owner, process, err)
		}
		return owner
	}
	a, b := t.TempDir(), t.TempDir()
	first := of(a)
	if of(a) != first || of(b) == first {
		t.Errorf("%s: then %s; the other is %s", first, of(a), of(b))
	}
	// A power cut can leave a file empty.
	must(t, os.WriteFile(filepath.Join(b, "identity"), nil, 0o644))
	if now := of(b); now != of(b) || now == first {
		t.Errorf("an empty one became %s, then %s", now, of(b))
	}
}
