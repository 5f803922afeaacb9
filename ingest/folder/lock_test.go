package folder_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hawser/ingest/folder"
)

// A folder is locked once at a time, and again when it has been released. Who comes
// second is told of the folder and of the process.
func TestLock(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	release, err := folder.Lock(dir)
	must(t, err)
	_, err = folder.Lock(dir)
	var inUse *folder.InUseError
	if !errors.As(err, &inUse) || inUse.Dir != dir || !strings.Contains(err.Error(), fmt.Sprintf("in use by process %d (", os.Getpid())) {
		t.Errorf("second lock: %v", err)
	}
	if err := errors.Join(release(), release()); err != nil {
		t.Error(err)
	}
	release, err = folder.Lock(dir)
	must(t, err)
	if err := release(); err != nil {
		t.Error(err)
	}
}

// What cannot be locked is an error that names the folder.
func TestLockWithoutFolder(t *testing.T) {
	file := filepath.Join(t.TempDir(), "data")
	must(t, os.WriteFile(file, nil, 0o600))
	if _, err := folder.Lock(file); err == nil || !strings.Contains(err.Error(), file) {
		t.Errorf("lock of a file as a folder: %v", err)
	}
}

// A folder is locked though its holder cannot say what it is, as on a full disk.
func TestLockByNobodyKnown(t *testing.T) {
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "lock-holder"), 0o755); err != nil { // no file can be written there
		t.Fatal(err)
	}
	release, err := folder.Lock(dir)
	must(t, err)
	defer release()
	if _, err := folder.Lock(dir); err == nil || err.Error() != "data folder "+dir+" is in use by another process" {
		t.Errorf("second lock: %v", err)
	}
}
